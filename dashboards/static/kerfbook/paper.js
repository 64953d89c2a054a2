// A chart is drawn as wide as its column on the screen. For paper it is drawn anew, at a width that
// keeps its letters readable, and then scaled to the column the paper has.
(() => {
  const charts = () => document.querySelectorAll(".chart .js-plotly-plot");
  const widthOf = (chart) => parseFloat(getComputedStyle(chart).getPropertyValue("--drawn-for-paper")) || 500;
  addEventListener("beforeprint", () => {
    for (const chart of charts()) {
      const size = {width: widthOf(chart), height: chart.offsetHeight};
      Plotly.relayout(chart, {autosize: false, ...size});
      for (const svg of chart.querySelectorAll(".main-svg"))
        svg.setAttribute("viewBox", `0 0 ${size.width} ${size.height}`);
      chart.style.setProperty("--drawn", `${size.width}/${size.height}`);
    }
  });
  addEventListener("afterprint", () => {
    for (const chart of charts()) {
      for (const svg of chart.querySelectorAll(".main-svg")) svg.removeAttribute("viewBox");
      Plotly.relayout(chart, {autosize: true, width: null, height: null});
    }
  });
})();
