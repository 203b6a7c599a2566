// Draws every element that names a figure: asks the board for it, in day or night ink, and hands it to Plotly.
"use strict";
(() => {
  const night = matchMedia("(prefers-color-scheme: dark)");
  const touch = matchMedia("(pointer: coarse)");
  const config = {
    displaylogo: false, displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: "reset",
    modeBarButtonsToRemove: ["sendChartToCloud"], showEditInChartStudio: false,
  };

  async function draw(place) {
    const ask = new URL(place.dataset.figure, location.href);
    ask.searchParams.set("ink", night.matches ? "night" : "day");
    ask.searchParams.set("points", String(Math.min(Math.max(place.clientWidth, 300), 900)));
    try {
      const answer = await fetch(ask, { signal: AbortSignal.timeout(20000) });
      const figure = await answer.json();
      if (!answer.ok) throw new Error(figure.detail || answer.statusText);
      figure.layout.dragmode = touch.matches ? false : "zoom";
      Plotly.purge(place);
      place.replaceChildren();
      await Plotly.newPlot(place, figure.data, figure.layout, config);
      place.dataset.drawn = ask.searchParams.get("ink");
    } catch (error) {
      const words = document.createElement("p");
      words.textContent = `The drawing could not be made: ${error.message}`;
      place.replaceChildren(words);
    }
  }

  const all = () => document.querySelectorAll("[data-figure]").forEach(draw);
  night.addEventListener("change", all);
  all();
})();
