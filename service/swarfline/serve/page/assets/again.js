// Brings a page without a stream up to date, in place: what is opened stays open, what has the focus keeps it.
const EVERY_MS = 10000;
const line = document.getElementById("link");

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
    document.getElementById("link-word").textContent = fresh.getElementById("link-word").textContent;
    line.dataset.link = "still";
  } catch {
    line.dataset.link = "lost";
    document.getElementById("link-word").textContent = line.dataset.lost;
  }
}

setInterval(again, EVERY_MS);
