// Put before a page's own scripts: notes when events of its stream come and when the page has followed them.
(() => {
  const notes = { redraws: [], parts: [], events: 0, behind: 0, last: 0, laid: null };
  window.watchedPage = notes;
  let arrived = null;
  const Plain = window.EventSource;
  window.EventSource = class extends Plain {
    constructor(...given) {
      super(...given);
      // the first listener of each event: it runs before the page's own
      for (const name of ["snapshot", "tick"]) this.addEventListener(name, (event) => {
        const number = Number(event.lastEventId);
        if (notes.events && (name === "snapshot" || number !== notes.last + 1)) notes.behind += 1;
        notes.events += 1;
        notes.last = number;
        arrived = { name, at: performance.now(), bytes: event.data.length, dom: null };
        notes.redraws.push(arrived);
        // an event that changed nothing must not be taken for what changes later
        const one = arrived;
        setTimeout(() => { if (arrived === one) arrived = null; });
      });
    }
  };
  // called after the page's listener has returned, with all that it changed
  new MutationObserver((changes) => {
    if (arrived === null) return;
    arrived.dom = performance.now() - arrived.at;
    arrived.changes = changes.length;
    for (const change of changes) {
      const cell = change.target.dataset?.cell;
      if (cell === window.watchedCell) notes.parts.push([change.target.textContent, Date.now()]);
    }
    document.documentElement.getBoundingClientRect();
    arrived.laid = performance.now() - arrived.at;
    arrived = null;
  }).observe(document, { subtree: true, childList: true, attributes: true, characterData: true });
  addEventListener("load", () => {
    requestAnimationFrame(() => requestAnimationFrame(() => { notes.laid = performance.now(); }));
  });
})();
