"use strict";
(function () {
  /* The print shows what its style sheet allows, whatever is folded on the screen. */
  const printQuery = matchMedia("print");
  let printing = false;

  function setPrinting(on) {
    if (printing === on) return;
    printing = on;
    document.querySelectorAll("details[data-print]").forEach(function (fold) {
      if (on && !fold.open) { fold.open = true; fold.dataset.print = "opened"; }
      if (!on && fold.dataset.print === "opened") { fold.open = false; fold.dataset.print = ""; }
    });
  }

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
  document.documentElement.dataset.ready = "";
})();
