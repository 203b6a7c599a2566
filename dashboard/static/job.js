// Shows how far a piece of work is, and loads the page again when it is over.
"use strict";
(() => {
  const box = document.getElementById("job");
  if (!box) return;
  async function look() {
    try {
      const answer = await fetch(box.dataset.state, { headers: { Accept: "application/json" }, signal: AbortSignal.timeout(8000) });
      const now = await answer.json();
      if (!answer.ok || now.over) { location.reload(); return; }
      box.querySelector("progress").value = now.done_frac;
    } catch { /* the board is busy: ask again */ }
    setTimeout(look, 700);
  }
  setTimeout(look, 300);
})();
