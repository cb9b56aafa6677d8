// One stream per page. Only cells whose text changed are touched; nothing is announced but the connection line.
const line = document.getElementById("link");
const word = document.getElementById("link-word");
const cells = new Map();
for (const element of document.querySelectorAll("[data-cell]")) {
  const known = cells.get(element.dataset.cell) ?? [];
  cells.set(element.dataset.cell, [...known, element]);
}
const SILENCE_MS = 5000;
let source;
let heard = Date.now();

// The words are the template's, in its language.
function say(state) {
  if (line.dataset.link === state) return;
  line.dataset.link = state;
  word.textContent = state === "live" ? line.dataset.live : line.dataset.lost;
}

function patch(element, text) {
  const attribute = element.dataset.to;
  if (attribute) {
    if (element.getAttribute(attribute) !== text) element.setAttribute(attribute, text);
  } else if (element.textContent !== text) {
    element.textContent = text;
  }
}

// Where a page has room for more, the list names the page of alerts.
function alertItem(alert, list) {
  const item = document.createElement("li");
  item.dataset.severity = alert.severity;
  const severity = document.createElement("b");
  severity.textContent = alert.said.severity;
  const text = document.createElement(list.dataset.page ? "a" : "span");
  if (list.dataset.page) text.href = `${list.dataset.page}#alert-${alert.number}`;
  text.textContent = alert.said.text;
  const state = document.createElement("small");
  state.textContent = `${alert.said.since}, ${alert.said.state}`;
  item.append(severity, " ", text, " ", state);
  return item;
}

function take(event) {
  heard = Date.now();
  const told = JSON.parse(event.data);
  for (const [name, text] of Object.entries(told.cells)) {
    for (const element of cells.get(name) ?? []) patch(element, text);
  }
  const list = document.getElementById("alerts");
  if (list && told.alerts) {
    const shown = told.alerts.filter((alert) => !alert.shelved).slice(0, Number(list.dataset.most) || undefined);
    list.replaceChildren(...shown.map((alert) => alertItem(alert, list)));
  }
  say("live");
}

function open() {
  source?.close();
  source = new EventSource("/api/v1/live?of=page");
  source.addEventListener("snapshot", take);
  source.addEventListener("tick", take);
  // the session has ended: the page loaded anew leads to the one for signing in
  source.addEventListener("ended", () => location.reload());
}

// A pulled cable is not noticed by EventSource, and after an error status it never tries again.
setInterval(() => {
  if (document.hidden || Date.now() - heard < SILENCE_MS) return;
  say("lost");
  heard = Date.now();
  open();
}, 1000);

// Browsers allow six connections to one origin: a hidden page gives its own back.
document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    source?.close();
  } else {
    heard = Date.now();
    open();
  }
});
addEventListener("pagehide", () => source?.close());
open();
