// A drawn keyboard with the instrument's real keys: tap or arrow keys choose keys, marks show what is known.

const KEY_PX = 52;

function shapeOf(mark) {
  const paths = { triangle: "M7 1 L13 13 H1 Z", cross: "M2 2 L12 12 M12 2 L2 12" };
  const shape = mark.shape === "circle"
    ? draw("circle", { cx: 7, cy: 7, r: 5.5 })
    : draw("path", { d: paths[mark.shape] });
  return draw("svg", { viewBox: "0 0 14 14", class: `pl-mark pl-mark-${mark.shape}`, "aria-hidden": "true" }, shape);
}

function keyboard({ keys, label, choose, arrive = () => {} }) {
  const byKey = new Map(keys.map((k) => [k.key, k]));
  const whites = keys.filter((k) => !k.black).length;
  const id = `pl${Math.random().toString(36).slice(2)}`;
  let chosen = new Set();
  let marks = {};
  let at = byKey.has(40) ? 40 : keys[0].key;
  let anchor = null;
  let ranging = false;
  let told = null; // the key that the line below the keys is about

  const tops = new Map();
  const bed = make("div", { class: "pl-keybed", style: `width:${whites * KEY_PX}px` });
  for (const k of [...keys].sort((a, b) => a.black - b.black)) {
    const node = make(
      "div",
      {
        class: k.black ? "pl-key pl-black" : "pl-key pl-white",
        id: `${id}-${k.key}`,
        role: "option",
        style: `left:${k.left * KEY_PX}px;width:${k.width * KEY_PX}px`,
        onclick: (event) => press(k.key, event.shiftKey),
        onpointerenter: () => tellAbout(k.key),
      },
      make("span", { class: "pl-marks" }),
      make("span", { class: "pl-note", text: k.black || !k.note.startsWith("C") ? "" : k.note }),
    );
    tops.set(k.key, node);
    bed.append(node);
  }
  const list = make("div", {
    class: "pl-keys", tabindex: 0, role: "listbox", "aria-multiselectable": "true", "aria-label": label,
    onkeydown: byKeys, onfocus: () => walkTo(at),
  }, bed);

  const small = draw("svg", { viewBox: `0 0 ${whites * 6} 26`, preserveAspectRatio: "none", "aria-hidden": "true" });
  const pane = draw("rect", { y: 1, height: 24, class: "pl-map-pane", rx: 2 });
  const tiny = new Map();
  for (const k of [...keys].sort((a, b) => a.black - b.black)) {
    const node = draw("rect", {
      x: k.left * 6 + 0.4, y: 3, width: k.width * 6 - 0.8, height: k.black ? 12 : 20, class: k.black ? "pl-map-black" : "pl-map-white",
    });
    tiny.set(k.key, node);
    small.append(node);
  }
  small.append(pane);
  const map = make("div", { class: "pl-map", onpointerdown: jump, onpointermove: (e) => e.buttons && jump(e) }, small);

  const about = make("p", { class: "pl-about", "aria-live": "polite" });
  const range = make("button", { type: "button", class: "pl-button", "aria-pressed": "false", text: "Choose a range", onclick: startRange });
  const clear = make("button", { type: "button", class: "pl-button", text: "Choose none", onclick: () => settle([]) });
  const node = make("div", { class: "pl-keyboard" }, map, list, make("div", { class: "pl-row" }, about, range, clear));
  list.addEventListener("scroll", showPane, { passive: true });
  const seen = new ResizeObserver(showPane);
  seen.observe(list);

  function jump(event) {
    const box = map.getBoundingClientRect();
    list.scrollLeft = ((event.clientX - box.left) / box.width) * whites * KEY_PX - list.clientWidth / 2;
  }
  function showPane() {
    const scale = 6 / KEY_PX;
    pane.setAttribute("x", list.scrollLeft * scale + 0.5);
    pane.setAttribute("width", Math.max(6, Math.min(list.clientWidth, whites * KEY_PX) * scale - 1));
  }
  function bring(key, middle = false) {
    const k = byKey.get(key);
    const left = k.left * KEY_PX;
    const right = left + k.width * KEY_PX;
    if (middle || left < list.scrollLeft || right > list.scrollLeft + list.clientWidth)
      list.scrollLeft = (left + right) / 2 - list.clientWidth / 2;
    showPane();
  }
  function walkTo(key) {
    if (!byKey.has(key)) return;
    tops.get(at)?.classList.remove("pl-at");
    at = key;
    tops.get(at).classList.add("pl-at");
    list.setAttribute("aria-activedescendant", `${id}-${at}`);
    bring(at);
    tellAbout(at);
    arrive(at);
  }
  function tellAbout(key) {
    told = key;
    const known = (marks[key] || []).map((m) => m.text).join("; ");
    setText(about, `${byKey.get(key).note}, key ${key}` + (known ? `: ${known}` : ""));
  }
  function between(a, b) {
    return keys.map((k) => k.key).filter((k) => k >= Math.min(a, b) && k <= Math.max(a, b));
  }
  function startRange() {
    ranging = !ranging;
    if (ranging) anchor = null;
    setFlag(range, "aria-pressed", ranging);
    setText(about, ranging ? "Touch the first and the last key of the range." : "");
  }
  function press(key, extend) {
    walkTo(key);
    if (ranging && anchor === null) {
      anchor = key;
      settle([...chosen, key]);
    } else if ((ranging || extend) && anchor !== null) {
      settle([...chosen, ...between(anchor, key)]);
      if (ranging) startRange();
    } else {
      anchor = key;
      settle(chosen.has(key) ? [...chosen].filter((k) => k !== key) : [...chosen, key]);
    }
  }
  function settle(list_) {
    chosen = new Set(list_);
    showChosen();
    choose([...chosen].sort((a, b) => a - b));
  }
  function byKeys(event) {
    const first = keys[0].key;
    const last = keys[keys.length - 1].key;
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, ArrowUp: Math.min(last, at + 12), ArrowDown: Math.max(first, at - 12), Home: first, End: last }[event.key];
    if (to !== undefined) {
      event.preventDefault();
      event.stopPropagation();
      if (!byKey.has(to)) return;
      if (event.shiftKey) {
        if (anchor === null) anchor = at;
        walkTo(to);
        settle([...chosen, ...between(anchor, to)]);
      } else walkTo(to);
    } else if (event.key === " " || event.key === "Enter") {
      event.preventDefault();
      event.stopPropagation();
      press(at, event.shiftKey);
    }
  }
  function showChosen() {
    for (const [key, top] of tops) {
      setFlag(top, "aria-selected", chosen.has(key));
      tiny.get(key).classList.toggle("pl-map-chosen", chosen.has(key));
    }
  }
  node.show = (now) => {
    chosen = new Set(now.chosen);
    marks = now.marks || {};
    for (const [key, top] of tops) {
      const known = marks[key] || [];
      top.querySelector(".pl-marks").replaceChildren(...known.slice(0, 2).map(shapeOf));
      top.setAttribute("aria-label", [`${byKey.get(key).note}, key ${key}`, ...known.map((m) => m.text)].join("; "));
      tiny.get(key).classList.toggle("pl-map-marked", known.length > 0);
    }
    showChosen();
    if (told !== null && !ranging) tellAbout(told);
  };
  requestAnimationFrame(() => arrive(at));
  node.center = () => bring(chosen.size ? Math.min(...chosen) : at, true);
  node.focusKeys = () => list.focus();
  return node;
}
