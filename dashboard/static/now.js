// Keeps the page Now fresh: asks for it again and puts the new sheet in place of the old one.
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

  setInterval(renew, every);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) renew(); });
})();
