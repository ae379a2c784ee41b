"use strict";
(function () {
  const plots = Array.from(document.querySelectorAll("[data-chart]"));
  const parsed = new Map();
  const darkQuery = matchMedia("(prefers-color-scheme: dark)");
  const printQuery = matchMedia("print");
  const PRINT_WIDTH = 640, PRINT_WIDTH_SMALL = 315;
  let printing = printQuery.matches;

  function figureOf(plot) {
    if (!parsed.has(plot.id)) parsed.set(plot.id, JSON.parse(document.getElementById(plot.dataset.chart).textContent));
    return parsed.get(plot.id)[printing || !darkQuery.matches ? "light" : "dark"];
  }

  function draw(plot) {
    const figure = figureOf(plot);
    const layout = Object.assign({}, figure.layout, { autosize: true });
    if (printing) {
      layout.autosize = false;
      layout.width = plot.closest(".radars") ? PRINT_WIDTH_SMALL : PRINT_WIDTH;
    }
    const config = { displayModeBar: false, responsive: !printing, scrollZoom: false, doubleClick: false, showTips: false };
    return Plotly.react(plot, figure.data, layout, config);
  }

  function drawAll() { plots.forEach(draw); }

  function drawInTurn(queue) {
    if (!queue.length) { document.documentElement.dataset.charts = String(plots.length); return; }
    draw(queue[0]);
    setTimeout(drawInTurn, 0, queue.slice(1));
  }

  function setPrinting(on) {
    if (printing === on) return;
    printing = on;
    drawAll();
    if (!on) plots.forEach(function (plot) { Plotly.Plots.resize(plot); });
  }

  darkQuery.addEventListener("change", drawAll);
  printQuery.addEventListener("change", function (event) { setPrinting(event.matches); });
  addEventListener("beforeprint", function () { setPrinting(true); });
  addEventListener("afterprint", function () { setPrinting(printQuery.matches); });

  const near = function (plot) { return plot.getBoundingClientRect().top < innerHeight ? 0 : 1; };
  drawInTurn(plots.slice().sort(function (a, b) { return near(a) - near(b); }));

  /* Clips: one plays at a time; a row can be played from left to right. */
  const sounds = Array.from(document.querySelectorAll("audio[data-name]"));
  let row = [];

  function stopOthers(sound) {
    sounds.forEach(function (other) { if (other !== sound && !other.paused) { other.pause(); other.currentTime = 0; } });
  }

  /* What is seen comes first in the name, so that who speaks to the page can say what they see. */
  function buttonFor(seen, more) {
    const button = document.createElement("button"), rest = document.createElement("span");
    button.type = "button";
    rest.className = "unseen";
    rest.textContent = more;
    button.append(seen, rest);
    return button;
  }

  sounds.forEach(function (sound) {
    const button = buttonFor(sound.dataset.seconds + " s", ": play " + sound.dataset.name);
    const bar = document.createElement("span"), rest = button.querySelector(".unseen");
    button.className = "play";
    bar.className = "progress";
    button.append(bar);
    sound.removeAttribute("controls");
    sound.after(button);
    button.addEventListener("click", function () {
      row = [];
      if (sound.paused) { stopOthers(sound); sound.currentTime = 0; sound.play(); } else { sound.pause(); }
    });
    sound.addEventListener("play", function () { button.classList.add("on"); rest.textContent = ": stop " + sound.dataset.name; });
    ["pause", "ended"].forEach(function (name) {
      sound.addEventListener(name, function () {
        button.classList.remove("on");
        bar.style.width = "0";
        rest.textContent = ": play " + sound.dataset.name;
      });
    });
    sound.addEventListener("timeupdate", function () {
      bar.style.width = String(100 * sound.currentTime / (sound.duration || Number(sound.dataset.seconds))) + "%";
    });
    sound.addEventListener("ended", function () {
      const next = row.shift();
      if (next) { next.currentTime = 0; next.play(); }
    });
  });

  document.querySelectorAll("td.turn").forEach(function (cell) {
    const own = Array.from(cell.parentElement.querySelectorAll("audio"));
    if (own.length < 2) return;
    const button = buttonFor("In turn", ": play " + cell.dataset.note + " of all instruments");
    button.addEventListener("click", function () {
      stopOthers(null);
      row = own.slice(1);
      own[0].currentTime = 0;
      own[0].play();
    });
    cell.append(button);
  });
})();
