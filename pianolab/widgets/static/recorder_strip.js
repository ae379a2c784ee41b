// The strip of keys while one plays: a cell per key, its state by colour, shape and words.

const KEY_STATES = {
  "to play": { sign: "", text: "to play" },
  ringing: { sign: "•", text: "ringing" },
  found: { sign: "✓", text: "heard" },
  again: { sign: "!", text: "play again" },
  silent: { sign: "–", text: "no sound" },
  "passed over": { sign: "›", text: "left out" },
};
const KEY_WHY = {
  clipped: "cut off at the top: play more softly or move the microphone away",
  "too soft": "too soft: play more firmly, or wait until it is quiet",
  "too short": "let go too soon: hold it longer",
  doubtful: "it could be another key: strike it once more",
  gap: "a piece of sound is missing: strike it once more",
};

function keyStrip({ names, go }) {
  const cells = new Map();
  const node = make("ul", { class: "pl-strip", "aria-label": "Keys" });
  let shown = "";
  function lay(keys) {
    cells.clear();
    node.replaceChildren(...keys.map((key) => {
      const mark = make("span", { class: "pl-strip-sign", "aria-hidden": "true" });
      const cell = make("button", { type: "button", class: "pl-strip-key", onclick: () => go(key) }, mark, make("span", { class: "pl-strip-note", text: names.get(key) || key }));
      cells.set(key, { cell, mark });
      return make("li", {}, cell);
    }));
  }
  node.show = (view) => {
    const keys = view.keys || [];
    if (keys.join() !== shown) {
      shown = keys.join();
      lay(keys);
    }
    for (const key of keys) {
      const { state, why } = view.states[key] || { state: "to play", why: [] };
      const { cell, mark } = cells.get(key);
      const known = KEY_STATES[state];
      setText(mark, known.sign);
      if (cell.dataset.state !== state) cell.dataset.state = state;
      const words = `${names.get(key)}: ${[known.text, ...why.map((w) => KEY_WHY[w] || w)].join("; ")}`;
      if (cell.title !== words) {
        cell.title = words;
        cell.setAttribute("aria-label", words);
      }
      const now = view.on && key === view.key;
      if (now !== (cell.getAttribute("aria-current") === "true")) {
        cell.setAttribute("aria-current", now ? "true" : "false");
        if (now) node.scrollLeft = Math.max(0, cell.offsetLeft - node.clientWidth / 2);
      }
    }
  };
  return node;
}

// A quiet light: it fills while the key should be held, and rests while one waits.
function paceLight() {
  const fill = make("i", { class: "pl-pace-fill" });
  const words = make("span", { class: "pl-soft pl-pace-words" });
  const node = make("div", { class: "pl-pace" }, make("span", { class: "pl-pace-track", "aria-hidden": "true" }, fill), words);
  let begun = null;
  let hold = 2;
  let frame = 0;
  function step() {
    const share = begun === null ? 0 : Math.min(1, (performance.now() - begun) / 1000 / hold);
    fill.style.width = `${100 * share}%`;
    setText(words, begun === null ? "Strike the key" : share < 1 ? "Hold" : "Let go");
    frame = begun !== null && share < 1 ? requestAnimationFrame(step) : 0;
  }
  node.show = (view) => {
    hold = view.hold_s || 2;
    if (view.ringing && begun === null) begun = performance.now() - 400;
    if (!view.ringing) begun = null;
    if (!frame) step();
  };
  node.end = () => cancelAnimationFrame(frame);
  return node;
}
