// What the instruments show at this moment, wherever the page shows a reading; every two seconds while somebody looks.
"use strict";
(() => {
  const address = document.querySelector("[data-readings]").dataset.readings;
  async function look() {
    try {
      if (!document.hidden) {
        const answer = await fetch(address, { headers: { Accept: "application/json" }, signal: AbortSignal.timeout(8000) });
        if (answer.ok) {
          for (const [name, shown] of Object.entries(await answer.json())) {
            for (const cell of document.querySelectorAll(`[data-reading="${name}"]`)) cell.textContent = shown;
          }
        }
      }
    } catch { /* the board is busy: the next time tells it */ }
    setTimeout(look, 2000);
  }
  look();
})();
