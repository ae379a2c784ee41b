// The keyboard alone: chosen keys go to and from Python, marks come from Python.

function render({ model, el }) {
  const title = make("h3", { class: "pl-picker-title" });
  const board = keyboard({
    keys: model.get("keyboard").keys,
    label: "Keyboard",
    choose(keys) {
      model.set("chosen", keys);
      model.save_changes();
    },
  });
  const chosenLine = make("p", { class: "pl-soft", role: "status" });
  const root = make("section", { class: "pl-picker", "data-lm-suppress-shortcuts": "true", onkeydown: (e) => e.stopPropagation() }, title, board, chosenLine);
  const names = new Map(model.get("keyboard").keys.map((k) => [k.key, k.note]));

  function show() {
    const chosen = model.get("chosen");
    setText(title, model.get("title"));
    board.show({ chosen, marks: model.get("marks") });
    setText(chosenLine, chosen.length ? `Chosen: ${chosen.map((k) => names.get(k)).join(", ")}` : "No key chosen");
  }
  model.on("change:chosen", show);
  model.on("change:marks", show);
  show();
  el.append(root);
  requestAnimationFrame(() => board.center());
  return () => {
    model.off("change:chosen", show);
    model.off("change:marks", show);
  };
}

export default { render };
