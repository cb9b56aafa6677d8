// live.js keeps texts and counts fresh and says in #changed when the list is another one. Whoever reads or fills in a
// form is only told so; a page that nobody touches is loaded anew.
const REST_MS = 60000;
const CHECK_MS = 2000;
const line = document.getElementById("changed");
const first = line.dataset.list;
let touched = performance.now();

for (const kind of ["pointerdown", "keydown", "scroll"]) {
  addEventListener(kind, () => { touched = performance.now(); }, { passive: true });
}

function inUse() {
  return document.querySelector(".act[open]") !== null || performance.now() - touched < REST_MS;
}

function look() {
  const other = line.dataset.list !== first;
  line.querySelector("a").hidden = !other;
  if (other && !document.hidden && !inUse()) location.reload();
}

new MutationObserver(look).observe(line, { attributes: true, attributeFilter: ["data-list"] });
setInterval(look, CHECK_MS);
