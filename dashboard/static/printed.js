// Draws the report's figures out of the JSON it carries, and once more at the paper's width before printing.
"use strict";
(() => {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const config = { staticPlot: false, displayModeBar: false, displaylogo: false, scrollZoom: false, doubleClick: false };
  const PAPER_PX = 670; // between the margins of A4 (180 mm), and a little less

  function draw(width) {
    for (const [name, figure] of Object.entries(figures)) {
      const place = document.getElementById(name);
      if (!place) continue;
      const layout = structuredClone(figure.layout);
      layout.width = width || place.clientWidth;
      layout.dragmode = false;
      for (const axis of ["xaxis", "yaxis", "yaxis2"]) if (layout[axis]) layout[axis].fixedrange = true;
      if (layout.width < 480) {
        layout.font.size = 12;
        layout.xaxis.nticks = 4;
        for (const words of layout.annotations || []) words.font.size = 12;
      }
      Plotly.react(place, figure.data, layout, config);
    }
  }

  draw();
  let waiting = 0;
  addEventListener("resize", () => { clearTimeout(waiting); waiting = setTimeout(draw, 150); });
  addEventListener("beforeprint", () => draw(PAPER_PX));
  addEventListener("afterprint", () => draw());
  document.body.dataset.drawn = "yes";
})();
