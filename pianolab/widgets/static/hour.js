// The clock of the walk: how long there is, how much is left, what stays unseen; it ticks here between two answers.

const TICK_MS = 5000;

function hourLine({ choose, stop }) {
  let shown = null;
  let since = 0;
  const choices = new Map();
  const times = make("div", { class: "pl-times", role: "group", "aria-label": "How long there is" });
  const clock = make("b", { class: "pl-clock" });
  const fits = make("span", {});
  const unseen = make("span", { class: "pl-unseen" });
  const noTime = make("button", { type: "button", class: "pl-button pl-no-time", onclick: () => (sure() ? stop() : ask(true)) });
  const node = make("div", { class: "pl-hour" }, times, make("p", { class: "pl-hour-line" }, clock, " ", fits, " ", unseen), noTime);
  let asked = false;
  let forget = 0;

  const sure = () => asked;
  function ask(on) {
    asked = on;
    clearTimeout(forget);
    if (on) forget = setTimeout(() => ask(false), 6000);
    setText(noTime, on ? `Yes: no time for ${shown.waiting} points` : "No time for the rest");
    noTime.dataset.sure = on ? "yes" : "";
  }
  function tick() {
    if (!shown) return;
    const gone = shown.gone_s + (shown.runs ? (performance.now() - since) / 1000 : 0);
    const left = shown.minutes === null ? null : Math.max(0, Math.ceil(shown.minutes - gone / 60));
    const words = left === null ? `${Math.floor(gone / 60)} min gone.` : left > 0 ? `${left} of ${shown.minutes} min left;` : "The time is over;";
    setText(clock, shown.runs ? words : left === null ? "" : `${left} min;`);
  }
  const timer = setInterval(tick, TICK_MS);
  return {
    node,
    close: () => { clearInterval(timer); clearTimeout(forget); },
    show(now) {
      shown = now;
      since = performance.now();
      for (const { value, text, chosen } of now.choices) {
        if (!choices.has(value)) {
          const button = make("button", { type: "button", class: "pl-button pl-time", text, onclick: () => choose(value) });
          choices.set(value, button);
          times.append(button);
        }
        setFlag(choices.get(value), "aria-pressed", chosen);
      }
      setText(fits, `${now.fits}.`);
      setText(unseen, now.unseen);
      node.dataset.over = now.over ? "yes" : "";
      noTime.hidden = !now.waiting;
      ask(false);
      tick();
    },
  };
}
