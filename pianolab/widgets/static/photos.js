// All photos of a visit: of the whole piano, with a button for another, and of points of the walk.

function render({ model, el }) {
  const root = make("section", { class: "pl-pictures", "data-lm-suppress-shortcuts": "true" });
  keepFocus(root);
  let sent = 0;
  const title = make("h3", { class: "pl-pictures-title" });
  const count = make("p", { class: "pl-soft" });
  const line = make("p", { class: "pl-pictures-line", role: "status" });
  const tell = (event, bytes) => {
    sent += 1;
    try {
      model.send({ ...event, n: sent }, undefined, bytes ? [bytes] : undefined);
      setText(line, "Saving");
    } catch {
      setText(line, LOST);
    }
  };
  const whole = photoRow({ label: "the whole piano", add: (name, bytes) => tell({ do: "photo", name }, bytes), drop: (id) => tell({ do: "drop photo", photo: id }), wanted: false });
  const groups = make("div", { class: "pl-pictures-groups" });
  root.append(title, count, whole, line, groups);

  function show() {
    const view = model.get("view");
    const pictures = model.get("pictures");
    setText(title, view.title);
    setText(count, view.count);
    whole.show(view.whole, pictures);
    groups.replaceChildren(...view.groups.map((group) => make("figure", {},
      group.photos.map((id, i) => pictures[id] ? make("img", { src: pictures[id], alt: `Photo ${i + 1} of ${group.title}` }) : make("span", { class: "pl-soft", text: "This photo can't be shown." })),
      make("figcaption", { text: group.title }))));
  }
  function settle() {
    const answer = model.get("answer");
    setText(line, answer.line || "");
    line.dataset.refused = answer.ok === false ? "yes" : "";
  }
  const seen = { "change:view": show, "change:pictures": show, "change:answer": settle };
  for (const [name, act] of Object.entries(seen)) model.on(name, act);
  show();
  el.append(root);
  return () => {
    for (const [name, act] of Object.entries(seen)) model.off(name, act);
  };
}

export default { render };
