// Renews the part of a page that is marked, with each minute of the log, and nothing else of it: what is being typed stays.
"use strict";
(() => {
  const part = () => document.querySelector("[data-live]");
  async function renew() {
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(8000) });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-live]");
      if (fresh) part().replaceWith(document.adoptNode(fresh));
    } catch { /* the board is busy: the next minute tells it */ }
  }
  const listener = new EventSource(document.body.dataset.root + "/stream");
  let first = true;
  listener.addEventListener("minute", () => { if (!first) renew(); first = false; });
  listener.onerror = () => { listener.close(); setInterval(renew, 10000); };
})();
