// Nobody touches this page. It hides what is old, comes back by itself, and lets sheets take turns.
// live.js holds the stream and says in #link how it stands.
const TURN_MS = 15000;
const AGAIN_MS = 3000;
const line = document.getElementById("link");
const sheets = [...document.querySelectorAll(".sheet")];
document.documentElement.classList.add("scripted");

let lost = false;

// What was true a while ago is no figure of now: it is taken away, not greyed.
function blank() {
  for (const element of document.querySelectorAll("main [data-cell]")) {
    const attribute = element.dataset.to;
    if (!attribute) element.textContent = "–";
    else if (attribute === "data-condition") element.setAttribute(attribute, "unobserved");
    else if (attribute === "href") element.setAttribute(attribute, "#mark-unobserved");
    else if (attribute === "data-state") element.setAttribute(attribute, "");
  }
  document.getElementById("alerts").replaceChildren();
}

// A page is loaded anew only when the server is seen to answer: a browser's own error page would stay for ever.
async function anew() {
  try {
    const answer = await fetch(location.href, { cache: "no-store" });
    if (answer.ok) {
      location.reload();
      return;
    }
  } catch {
    // not yet
  }
  setTimeout(anew, AGAIN_MS);
}

new MutationObserver(() => {
  if (line.dataset.link === "lost" && !lost) {
    lost = true;
    blank();
    setTimeout(anew, AGAIN_MS);
  }
}).observe(line, { attributes: true, attributeFilter: ["data-link"] });

if (sheets.length > 1) {
  let shown = 0;
  setInterval(() => {
    sheets[shown].dataset.later = "";
    shown = (shown + 1) % sheets.length;
    delete sheets[shown].dataset.later;
  }, TURN_MS);
}
