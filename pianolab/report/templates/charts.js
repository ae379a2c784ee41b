"use strict";
(function () {
  /* Each chart is drawn when it comes near the window, and for print where the print shows it. */
  const plots = Array.from(document.querySelectorAll("[data-chart]"));
  const parsed = new Map(), drawn = new Set();
  const darkQuery = matchMedia("(prefers-color-scheme: dark)");
  const printQuery = matchMedia("print");
  const PRINT_WIDTH = 660, PRINT_WIDTH_SMALL = 322, PRINT_HEIGHT_SMALL = 180, PRINT_SHARE = 0.8;
  let printing = false;

  /* A chart is written down as it is in light, with the list of what differs in dark. */
  function inDark(light, changes) {
    const whole = JSON.parse(JSON.stringify(light));
    changes.forEach(function (change) {
      const at = change[0], last = at[at.length - 1];
      at.slice(0, -1).reduce(function (place, step) { return place[step]; }, whole)[last] = change[1];
    });
    return whole;
  }

  function figureOf(plot) {
    if (!parsed.has(plot.id)) {
      const both = JSON.parse(document.getElementById(plot.dataset.chart).textContent);
      parsed.set(plot.id, { light: both.light, dark: inDark(both.light, both.dark) });
    }
    return parsed.get(plot.id)[printing || !darkQuery.matches ? "light" : "dark"];
  }

  /* The drawing library takes longest to start: it does so once the page stands, or when the first chart is needed. */
  function startPlotly() {
    if (window.Plotly) return;
    const script = document.createElement("script");
    script.textContent = document.getElementById("plotly-source").textContent;
    document.head.append(script);
  }

  function draw(plot) {
    startPlotly();
    const figure = figureOf(plot), small = plot.closest(".radars") !== null;
    const layout = Object.assign({}, figure.layout, { autosize: true });
    if (printing) {
      layout.autosize = false;
      layout.width = small ? PRINT_WIDTH_SMALL : PRINT_WIDTH;
      layout.height = small ? PRINT_HEIGHT_SMALL : Math.round(PRINT_SHARE * layout.height);
    }
    plot.style.height = String(layout.height) + "px";
    const config = { displayModeBar: false, responsive: !printing, scrollZoom: false, doubleClick: false, showTips: false };
    if (!drawn.size) performance.mark("first chart");
    drawn.add(plot);
    watcher.unobserve(plot);
    return Plotly.react(plot, figure.data, layout, config);
  }

  function inSight(plot) { return plot.offsetParent !== null && !plot.closest("details:not([open])"); }

  function onSight(entries) {
    entries.filter(function (entry) { return entry.isIntersecting; }).forEach(function (entry) { draw(entry.target); });
    document.documentElement.dataset.charts = String(drawn.size);
  }

  const watcher = new IntersectionObserver(onSight, { rootMargin: "100% 0px" });
  plots.forEach(function (plot) { watcher.observe(plot); });
  document.documentElement.dataset.charts = "0";
  performance.mark("ready");
  (window.requestIdleCallback || setTimeout)(startPlotly);

  function redraw() { drawn.forEach(draw); }

  function unfold(on) {
    document.querySelectorAll("details[data-print]").forEach(function (fold) {
      if (on && !fold.open) { fold.open = true; fold.dataset.print = "opened"; }
      if (!on && fold.dataset.print === "opened") { fold.open = false; fold.dataset.print = ""; }
    });
  }

  function setPrinting(on) {
    if (printing === on) return;
    printing = on;
    unfold(on);
    if (on) { plots.filter(inSight).forEach(draw); return; }
    redraw();
    drawn.forEach(function (plot) { if (inSight(plot)) Plotly.Plots.resize(plot); });
  }

  darkQuery.addEventListener("change", redraw);
  printQuery.addEventListener("change", function (event) { setPrinting(event.matches); });
  addEventListener("beforeprint", function () { setPrinting(true); });
  addEventListener("afterprint", function () { setPrinting(printQuery.matches); });
  if (printQuery.matches) setPrinting(true);

  /* Who follows a link to an instrument wants to see it, not a fold. */
  function unfoldTarget() {
    const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
    const fold = target && target.querySelector(":scope > details.fold");
    if (fold) fold.open = true;
  }
  addEventListener("hashchange", unfoldTarget);
  unfoldTarget();

  /* A fold may have been closed while the window changed its width. */
  document.addEventListener("toggle", function (event) {
    if (printing || !event.target.open) return;
    event.target.querySelectorAll("[data-chart]").forEach(function (plot) { if (drawn.has(plot)) Plotly.Plots.resize(plot); });
  }, true);
})();
