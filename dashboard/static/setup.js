// Live readings beside the question, and on to the next one when the board has it.
"use strict";
const box = document.getElementById("setup");
const goesTo = Number(new URLSearchParams(location.search).get("left") || 0);
async function look() {
  try {
    const answer = await fetch(box.dataset.state, { headers: { Accept: "application/json" } });
    if (answer.ok) {
      const now = await answer.json();
      if (String(now.number) !== box.dataset.number || Boolean(now.busy) !== Boolean(box.dataset.busy)) { location.replace("/"); return; }
      const live = document.getElementById("live");
      if (live && now.live.length) {
        live.replaceChildren(...now.live.map(([name, shown]) => {
          const row = document.createElement("tr"), head = document.createElement("th"), cell = document.createElement("td"), bold = document.createElement("b");
          head.scope = "row"; head.textContent = name; bold.textContent = shown; cell.append(bold); row.append(head, cell); return row;
        }));
      }
    } else if (answer.status === 404) { location.replace("/"); return; }  // the real pages have taken over
  } catch { /* the board is busy, or between set-up and the pages: ask again */ }
  setTimeout(look, goesTo === Number(box.dataset.number) ? 300 : 1000);
}
setTimeout(look, 300);
