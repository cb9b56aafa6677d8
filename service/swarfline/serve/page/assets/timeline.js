// Zoom of a machine's timeline: moved at once by its view boxes, then fetched anew as it is at that zoom.
const REST_MS = 250;
const FRESH_MS = 30000;
const LEAST_MS = 10000;
const MOST_MS = 32 * 86400000;
const CLICK_PX = 4;
let root = document.getElementById("timeline");
let shown;
let drawn;
let waiting;
let fetching;
let first;
const fingers = new Map();
let grip;

function plot() {
  return root.querySelector(".plot");
}

function take() {
  drawn = { from: Number(root.dataset.from), to: Number(root.dataset.to) };
  shown = { ...drawn };
  first ??= { ...drawn };
  const area = plot();
  area.classList.add("live");
  area.tabIndex = 0;
  root.querySelector(".tl-help").hidden = false;
}

// Where the lanes lie, beside their names.
function lanes() {
  return root.querySelector(".tl-axis dd").getBoundingClientRect();
}

function at(clientX) {
  const box = lanes();
  const share = Math.min(1, Math.max(0, (clientX - box.left) / box.width));
  return shown.from + share * (shown.to - shown.from);
}

function show(from, to) {
  const length = Math.min(MOST_MS, Math.max(LEAST_MS, to - from));
  const latest = Number(root.dataset.now) - LEAST_MS;
  const start = Math.min(from, latest);
  shown = { from: start, to: start + length };
  const scale = 1000 / (drawn.to - drawn.from);
  const box = `${(shown.from - drawn.from) * scale} 0 ${(shown.to - shown.from) * scale} 24`;
  for (const svg of root.querySelectorAll(".scaled")) svg.setAttribute("viewBox", box);
  plot().classList.add("moving");
  clearTimeout(waiting);
  waiting = setTimeout(load, REST_MS);
}

function zoom(factor, middle) {
  const from = middle - (middle - shown.from) * factor;
  show(from, from + (shown.to - shown.from) * factor);
}

function move(share) {
  const by = share * (shown.to - shown.from);
  show(shown.from + by, shown.to + by);
}

function query() {
  const iso = (ms) => new Date(Math.round(ms)).toISOString();
  return new URLSearchParams({ from: iso(shown.from), to: iso(shown.to) });
}

function lost() {
  const note = root.querySelector(".tl-note");
  note.textContent = root.dataset.lost;
  note.hidden = false;
}

async function load(keepAddress = false) {
  fetching?.abort();
  fetching = new AbortController();
  const asked = query();
  try {
    const answer = await fetch(`${root.dataset.part}?${asked}`, { signal: fetching.signal });
    if (!answer.ok) throw new Error(`answer ${answer.status}`);
    const told = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("timeline");
    if (fingers.size) return;
    const page = root.dataset.page;
    put(document.importNode(told, true));
    if (!keepAddress) history.replaceState(null, "", `${page}?${asked}`);
  } catch (problem) {
    if (problem.name !== "AbortError") lost();
  }
}

// What was open stays open, and what had the focus has it.
function put(fresh) {
  const open = root.querySelector(".tl-list").open;
  const focused = root.contains(document.activeElement) ? document.activeElement : null;
  const key = focused?.dataset?.zoom;
  const inPlot = focused === plot();
  root.replaceWith(fresh);
  root = fresh;
  root.querySelector(".tl-list").open = open;
  take();
  if (inPlot) plot().focus({ preventScroll: true });
  else if (key) (root.querySelector(`[data-zoom="${key}"]`) ?? plot()).focus({ preventScroll: true });
}

const BY_KEY = {
  "+": () => zoom(0.5, (shown.from + shown.to) / 2),
  "=": () => zoom(0.5, (shown.from + shown.to) / 2),
  "-": () => zoom(2, (shown.from + shown.to) / 2),
  ArrowLeft: () => move(-0.25),
  ArrowRight: () => move(0.25),
  Home: () => show(first.from, first.to),
};

document.addEventListener("keydown", (event) => {
  if (event.target !== plot() || event.ctrlKey || event.metaKey || event.altKey) return;
  const act = BY_KEY[event.key];
  if (!act) return;
  event.preventDefault();
  act();
});

document.addEventListener("wheel", (event) => {
  if (!plot().contains(event.target)) return;
  if (event.ctrlKey) {
    event.preventDefault();
    zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 200))), at(event.clientX));
  } else if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
    event.preventDefault();
    move((event.deltaX || event.deltaY) / lanes().width);
  }
}, { passive: false });

document.addEventListener("pointerdown", (event) => {
  if (!plot().contains(event.target) || event.button !== 0) return;
  fingers.set(event.pointerId, event.clientX);
  hold();
});

// One finger or the mouse holds a time, two fingers hold two.
function hold() {
  const places = [...fingers.values()];
  grip = { places, times: places.map(at), moved: false };
}

document.addEventListener("pointermove", (event) => {
  if (!fingers.has(event.pointerId)) return;
  fingers.set(event.pointerId, event.clientX);
  const places = [...fingers.values()];
  if (!grip.moved && places.every((x, i) => Math.abs(x - grip.places[i]) < CLICK_PX)) return;
  grip.moved = true;
  const box = lanes();
  if (places.length === 1) {
    const length = shown.to - shown.from;
    const from = grip.times[0] - ((places[0] - box.left) / box.width) * length;
    show(from, from + length);
  } else if (Math.abs(places[1] - places[0]) > 10) {
    const each = (grip.times[1] - grip.times[0]) / (places[1] - places[0]);
    const from = grip.times[0] - (places[0] - box.left) * each;
    if (each > 0) show(from, from + box.width * each);
  }
});

for (const name of ["pointerup", "pointercancel"]) {
  document.addEventListener(name, (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (fingers.size) hold();
  });
}

// A drag is no click on what lies below; a drag of a link is none of the browser's either.
document.addEventListener("click", (event) => {
  if (!plot().contains(event.target) || !grip?.moved) return;
  event.preventDefault();
  grip.moved = false;
}, true);
document.addEventListener("dragstart", (event) => {
  if (plot().contains(event.target)) event.preventDefault();
});

// Links to other windows change the timeline alone; without this script they lead to the page of that window.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href]");
  if (!link || !root.contains(link) || event.defaultPrevented) return;
  if (event.button !== 0 || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
  const address = new URL(link.getAttribute("href"), location.href);
  const [from, to] = ["from", "to"].map((name) => Date.parse(address.searchParams.get(name)));
  if (address.pathname !== root.dataset.page || address.hash !== "#timeline" || !(from < to)) return;
  event.preventDefault();
  show(from, to);
});

// The present moves on: a window that holds it is drawn anew while somebody looks.
setInterval(() => {
  if (document.hidden || fingers.size || Number(root.dataset.to) < Number(root.dataset.now)) return;
  load(true);
}, FRESH_MS);

take();
