// Keeps the page Now fresh: asks for it again and puts the new sheet in place of the old one, as soon as the board says that
// there is news; now and then where it does not say so.
"use strict";
(() => {
  const main = () => document.getElementById("main");
  const every = Number(main().dataset.refresh || 10) * 1000;
  let asking = false;

  async function renew() {
    if (asking || document.hidden) return;
    asking = true;
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(8000) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("main");
      if (!fresh) throw new Error("no sheet in the answer");
      if (fresh.innerHTML !== main().innerHTML) main().replaceWith(document.adoptNode(fresh));
      for (const part of [".slips", ".folio", ".index"]) {
        const [was, is] = [document.querySelector(part), page.querySelector(part)];
        if (was && is && was.innerHTML !== is.innerHTML) was.replaceWith(document.adoptNode(is));
      }
    } catch {
      const word = document.getElementById("silent");
      if (word) word.hidden = false;
    } finally {
      asking = false;
    }
  }

  let listener = null;
  let asked = Date.now();

  function listen() {
    if (listener || document.hidden) return;
    listener = new EventSource(document.body.dataset.root + "/stream");
    let first = true;
    listener.addEventListener("minute", () => {
      if (!first) { asked = Date.now(); renew(); }
      first = false;
      document.body.dataset.listens = "yes";
    });
    listener.onerror = () => {       // gone, or too many listen: ask now and then instead, and try to listen again in a minute
      listener.close();
      listener = null;
      renew();
      setTimeout(listen, 60000);
    };
  }

  setInterval(() => {
    const heard = listener && listener.readyState === EventSource.OPEN;
    if (Date.now() - asked < (heard ? 60000 : every) - 500) return;
    asked = Date.now();
    renew();
  }, every);
  listen();
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) { if (listener) listener.close(); listener = null; return; }
    renew();
    listen();
  });
})();
