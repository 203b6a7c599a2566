// Brings the drawing library where a hand asks for it, and puts a drawing that can be zoomed in place of the picture.
"use strict";
(() => {
  const library = document.currentScript.dataset.library;
  const night = matchMedia("(prefers-color-scheme: dark)");
  const touch = matchMedia("(pointer: coarse)");
  const config = {
    displaylogo: false, displayModeBar: false, responsive: true, scrollZoom: false, doubleClick: "reset",
    modeBarButtonsToRemove: ["sendChartToCloud"], showEditInChartStudio: false,
  };
  let coming = null;

  function fetchLibrary() {
    coming ??= new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = library;
      script.onload = done;
      script.onerror = () => { coming = null; failed(new Error("the board did not send the drawing library")); };
      document.head.append(script);
    });
    return coming;
  }

  async function draw(place) {
    const ask = new URL(place.dataset.figure, location.href);
    ask.searchParams.set("ink", night.matches ? "night" : "day");
    ask.searchParams.set("points", String(Math.min(Math.max(place.clientWidth, 300), 900)));
    const answer = await fetch(ask, { signal: AbortSignal.timeout(20000) });
    const figure = await answer.json();
    if (!answer.ok) throw new Error(figure.detail || answer.statusText);
    figure.layout.dragmode = touch.matches ? false : "zoom";
    const fresh = document.createElement("div");
    place.replaceChildren(fresh);
    await Plotly.newPlot(fresh, figure.data, figure.layout, config);
    place.dataset.drawn = ask.searchParams.get("ink");
  }

  for (const button of document.querySelectorAll("[data-draw]")) {
    const place = button.parentElement.querySelector("[data-place]");
    button.hidden = false;
    button.addEventListener("click", async () => {
      button.disabled = true;
      place.dataset.figure = button.dataset.draw;
      try {
        await fetchLibrary();
        await draw(place);
        button.hidden = true;
      } catch (error) {
        button.disabled = false;
        button.textContent = `The drawing could not be made: ${error.message}. Try again`;
        delete place.dataset.figure;
      }
    });
  }
  night.addEventListener("change", () => document.querySelectorAll("[data-drawn]").forEach(draw));
})();
