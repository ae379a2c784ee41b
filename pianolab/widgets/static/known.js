// What is known so far: six bands from lowest to highest as a small radar, reasons to stop, the verdict as it would be.

const RADIUS = 68;
const SHORT = { "tuning stability": "tuning" };

function render({ model, el }) {
  const root = make("section", { class: "pl-known", "aria-label": "What is known so far" });
  const title = make("h3", { class: "pl-known-title" });
  const place = make("div", { class: "pl-known-radar" });
  const stops = make("p", { class: "pl-known-stops" });
  const list = make("ul", { class: "pl-known-list" });
  const verdict = make("div", { class: "pl-known-verdict" });
  root.append(title, place, stops, list, verdict);

  const at = (i, n, value) => {
    const angle = (2 * Math.PI * i) / n - Math.PI / 2;
    return [Math.cos(angle) * (RADIUS * value) / 10, Math.sin(angle) * (RADIUS * value) / 10];
  };
  const ring = (values) => values.map((v, i) => at(i, values.length, v).map((x) => x.toFixed(1)).join(" ")).join(" L ");
  function radar(bands) {
    const n = bands.length;
    const words = bands.map((b) => b.blind ? `${b.aspect} nothing seen` : `${b.aspect} ${b.low.toFixed(1)} to ${b.high.toFixed(1)}`).join(", ");
    const svg = draw("svg", { viewBox: "-134 -104 268 208", role: "img", "aria-label": `Of 10: ${words}` });
    for (const v of [10, 5]) svg.append(draw("path", { d: `M ${ring(bands.map(() => v))} Z`, class: "pl-known-grid" }));
    const band = `M ${ring(bands.map((b) => b.high))} Z M ${ring(bands.map((b) => b.low))} Z`;
    svg.append(draw("path", { d: band, "fill-rule": "evenodd", class: "pl-known-band" }));
    bands.forEach((b, i) => {
      const [x, y] = at(i, n, 11.6);
      const above = Math.abs(x) < 8 ? (y < 0 ? -11 : 7) : 2;
      const text = draw("text", { x: x.toFixed(1), y: (y + above).toFixed(1), "text-anchor": Math.abs(x) < 8 ? "middle" : x > 0 ? "start" : "end", class: "pl-known-word" });
      text.textContent = SHORT[b.aspect] || b.aspect;
      const range = draw("text", { x: x.toFixed(1), y: (y + above + 11).toFixed(1), "text-anchor": text.getAttribute("text-anchor"), class: "pl-known-number" });
      range.textContent = b.blind ? "nothing seen" : `${b.low.toFixed(1)}–${b.high.toFixed(1)}`;
      svg.append(text, range);
    });
    return svg;
  }
  function show() {
    const view = model.get("view");
    root.hidden = !view.name;
    if (!view.name) return;
    setText(title, `Known so far: ${view.name}`);
    if (!view.bands) {
      place.replaceChildren(make("p", { class: "pl-soft", text: view.why ? `Not worked out: ${view.why}` : "Working it out" }));
      setText(stops, "");
      list.replaceChildren();
      verdict.replaceChildren();
      return;
    }
    place.replaceChildren(radar(view.bands));
    setText(stops, `Reasons to stop: ${view.stops_line}.`);
    list.replaceChildren(...view.stops.map((text) => make("li", { text })));
    verdict.replaceChildren(make("b", { text: "As it stands now" }), ...view.verdict.map((text) => make("p", { text })));
  }
  model.on("change:view", show);
  show();
  el.append(root);
  return () => model.off("change:view", show);
}

export default { render };
