// Brings a page without a stream up to date, in place: what is opened stays open, what has the focus keeps it.
const EVERY_MS = 10000;
const line = document.getElementById("freshness");

function swap(fresh, id) {
  const old = document.getElementById(id);
  const next = fresh.getElementById(id);
  if (old && next && !old.contains(document.activeElement)) old.replaceWith(document.adoptNode(next));
}

async function again() {
  if (document.hidden) return;
  try {
    const answer = await fetch(location.href, { cache: "no-store" });
    if (!answer.ok) throw new Error(answer.status);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    swap(fresh, "content");
    document.getElementById("freshness-word").textContent = fresh.getElementById("freshness-word").textContent;
    line.dataset.link = "still";
  } catch {
    line.dataset.link = "lost";
    document.getElementById("freshness-word").textContent = line.dataset.lost;
  }
}

setInterval(again, EVERY_MS);
