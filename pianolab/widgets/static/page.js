// Small helpers of every pianolab widget. Text goes in as text only, never as markup.

function make(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name === "text") node.textContent = value;
    else if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(2)) if (child) node.append(child);
  return node;
}

const SVG = "http://www.w3.org/2000/svg";

function draw(tag, props = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(props)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

const SIGNS = {
  saved: "M3 9.5 L7 13.5 L15 4.5",
  waiting: "M9 2.5 v6.5 l4 2.5",
  stopped: "M9 3 v7 M9 13.2 v1.6",
  caution: "M9 2 L16.5 15.5 H1.5 Z M9 7 v4 M9 12.7 v1",
  slash: "M4 14 L14 4",
  camera: "M2.5 5.5 h3 l1.5 -2 h4 l1.5 2 h3 v9 h-13 Z M9 7.2 a2.6 2.6 0 1 0 0.01 0",
  sound: "M3 7 h3 l4 -3.5 v11 L6 11 H3 Z M12.5 6 a4 4 0 0 1 0 6 M14.5 3.8 a7 7 0 0 1 0 10.4",
  down: "M4 7 l5 5 l5 -5",
  left: "M11 3.5 L5.5 9 L11 14.5",
  right: "M7 3.5 L12.5 9 L7 14.5",
};

function sign(name) {
  return draw(
    "svg",
    { viewBox: "0 0 18 18", width: 18, height: 18, "aria-hidden": "true", class: "pl-sign" },
    draw("path", { d: SIGNS[name], fill: "none", stroke: "currentColor", "stroke-width": 2, "stroke-linecap": "round", "stroke-linejoin": "round" }),
  );
}

function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function setFlag(node, name, on) {
  node.setAttribute(name, on ? "true" : "false");
}

function isTyping(node) {
  return node instanceof HTMLElement && (node.tagName === "TEXTAREA" || node.tagName === "INPUT");
}

// A bar in three parts: checked (solid), not checked (hatched), open (empty).
function tallyBar() {
  const checked = make("i", { class: "pl-bar-checked" });
  const putOff = make("i", { class: "pl-bar-put-off" });
  const node = make("span", { class: "pl-bar", "aria-hidden": "true" }, checked, putOff);
  node.show = (tally) => {
    const all = Math.max(1, tally.total);
    checked.style.width = `${(100 * tally.checked) / all}%`;
    putOff.style.width = `${(100 * tally.put_off) / all}%`;
  };
  return node;
}

// A click on plain words would leave the keyboard with the notebook, where a letter adds or deletes a cell.
function keepFocus(root) {
  root.tabIndex = -1;
  root.addEventListener("click", () => {
    if (!root.contains(document.activeElement)) root.focus({ preventScroll: true });
  });
}

const LOST = "Not saved: the notebook's kernel has stopped or was restarted. Choose Run, then Run All Cells; the form comes back where you were, and what it called saved is kept.";
