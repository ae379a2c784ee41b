// The head of the visit's screen: piano, visit and part, always in sight; what is pressed goes to Python.

function render({ model, el }) {
  const root = make("nav", { class: "pl-desk", "aria-label": "Piano, visit and part", "data-lm-suppress-shortcuts": "true" });
  keepFocus(root);
  const status = make("p", { class: "pl-desk-line", role: "status" });
  const chooser = (label, act) => make("select", { class: "pl-select", "aria-label": label, onchange: (e) => tell({ do: act, id: e.target.value }) });
  const piano = chooser("Piano", "piano");
  const visit = chooser("Visit", "visit");
  const more = make("details", { class: "pl-desk-more" },
    make("summary", { class: "pl-button", "aria-label": "New piano or visit", text: "New" }),
    make("div", { class: "pl-desk-menu" },
      make("button", { type: "button", class: "pl-button", text: "Another piano", onclick: () => { more.open = false; tell({ do: "new piano" }); } }),
      make("button", { type: "button", class: "pl-button", text: "A new visit today", onclick: () => { more.open = false; tell({ do: "new visit" }); } })));
  const parts = make("div", { class: "pl-parts", role: "tablist", "aria-label": "Parts of the visit" });
  const old = make("div", { class: "pl-old", role: "alert" }, make("span"),
    make("button", { type: "button", class: "pl-button", text: "Use this screen", onclick: () => tell({ do: "take over" }) }));
  root.append(make("div", { class: "pl-desk-row" }, piano, visit, more, parts), status, old);

  function tell(event) {
    // What is being typed is sent before the screen moves on.
    if (document.activeElement instanceof HTMLElement && isTyping(document.activeElement)) document.activeElement.blur();
    try {
      model.send(event);
    } catch {
      setText(status, LOST);
    }
  }
  function fill(select, choices) {
    const key = JSON.stringify(choices);
    if (select.dataset.key !== key) {
      select.dataset.key = key;
      select.replaceChildren(...choices.map(([id, text, here]) => make("option", { value: id, text, selected: here })));
    }
    const here = choices.find((c) => c[2]);
    if (here) select.value = here[0];
  }
  function show() {
    const view = model.get("view");
    if (!view.parts) return;
    fill(piano, view.pianos);
    fill(visit, view.visits);
    parts.replaceChildren(...view.parts.map(([id, text, here]) => make("button", {
      type: "button", role: "tab", class: "pl-button pl-part", "aria-selected": here ? "true" : "false", text, onclick: () => tell({ do: "part", part: id }),
    })));
    old.hidden = view.live;
    setText(old.firstChild, view.old);
    for (const node of [piano, visit, more, parts]) node.inert = !view.live;
    root.dataset.live = view.live ? "yes" : "no";
  }
  function said() {
    setText(status, model.get("line"));
  }
  model.on("change:view", show);
  model.on("change:line", said);
  show();
  said();
  el.append(root);
  return () => {
    model.off("change:view", show);
    model.off("change:line", said);
  };
}

export default { render };
