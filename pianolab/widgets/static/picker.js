// The keyboard alone: chosen keys go to and from Python, marks and what was measured come from Python, a key's
// sound is fetched from Python only when it is wanted.

function render({ model, el }) {
  const names = new Map(model.get("keyboard").keys.map((k) => [k.key, k.note]));
  const sounds = new Map(); // key -> address of its clip
  const player = new Audio();
  let at = null;

  const title = make("h3", { class: "pl-picker-title" });
  const board = keyboard({
    keys: model.get("keyboard").keys,
    label: "Keyboard",
    choose(keys) {
      model.set("chosen", keys);
      model.save_changes();
    },
    arrive: about,
  });
  const play = make("button", { type: "button", class: "pl-button", onclick: () => listen(at) }, sign("sound"), make("span"));
  const facts = make("ul", { class: "pl-facts-list pl-soft" });
  const chosenLine = make("p", { class: "pl-soft", role: "status" });
  const line = make("p", { class: "pl-soft pl-picker-line", role: "status" });
  const kinds = model.get("kinds").map((kind) => {
    const button = make("button", { type: "button", class: "pl-button pl-kind", "aria-pressed": "false", onclick: () => mark(kind) }, make("span", { text: kind.text }), make("span", { class: "pl-soft" }));
    return { ...kind, button };
  });
  const marking = make("div", { class: "pl-row pl-kinds", role: "group", "aria-label": "Mark the chosen keys" }, make("span", { class: "pl-soft", text: "Mark the chosen keys:" }), kinds.map((k) => k.button));
  marking.hidden = !kinds.length;
  const root = make("section", { class: "pl-picker", "data-lm-suppress-shortcuts": "true", onkeydown: byKeys },
    title, board, make("div", { class: "pl-row" }, play, facts), marking, make("div", { class: "pl-row" }, chosenLine, line));

  keepFocus(root);
  function byKeys(event) {
    if (!event.ctrlKey && !event.altKey && !event.metaKey && /^p$/i.test(event.key) && !isTyping(event.target)) {
      event.preventDefault();
      listen(at);
    }
    event.stopPropagation();
  }
  function about(key) {
    at = key;
    const known = model.get("facts")[key] || [];
    facts.replaceChildren(...known.map((text) => make("li", { text })));
    play.hidden = !model.get("playable").length;
    play.disabled = !model.get("playable").includes(key);
    setText(play.lastChild, `Play ${names.get(key)}`);
  }
  function mark(kind) {
    const keys = model.get("chosen");
    if (!keys.length) return setText(line, "Choose a key first.");
    const own = new Set(model.get("marked")[kind.id] || []);
    setText(line, "Saving");
    return model.send({ do: "mark", point: kind.id, keys, on: !keys.every((k) => own.has(k)) });
  }
  function listen(key) {
    if (key === null || !model.get("playable").includes(key)) return;
    if (sounds.has(key)) return start(key);
    setText(line, `Fetching ${names.get(key)}`);
    model.send({ do: "play", key });
  }
  function start(key) {
    player.src = sounds.get(key);
    player.play().then(() => setText(line, `Playing ${names.get(key)}`), (error) => setText(line, `Not played: ${error.message}`));
  }
  function receive(message, buffers) {
    if (message?.kind !== "sound") return;
    sounds.set(message.key, URL.createObjectURL(new Blob([buffers[0]], { type: message.mime })));
    start(message.key);
  }
  player.addEventListener("ended", () => setText(line, ""));

  function show() {
    const chosen = model.get("chosen");
    const marked = model.get("marked");
    setText(title, model.get("title"));
    board.show({ chosen, marks: model.get("marks") });
    setText(chosenLine, chosen.length ? `Chosen: ${chosen.map((k) => names.get(k)).join(", ")}` : "No key chosen");
    for (const { id, button } of kinds) {
      const own = new Set(marked[id] || []);
      setFlag(button, "aria-pressed", chosen.length > 0 && chosen.every((k) => own.has(k)));
      setText(button.lastChild, own.size ? String(own.size) : "");
    }
  }
  function answered() {
    if (model.get("line") || line.textContent === "Saving") setText(line, model.get("line"));
    line.dataset.refused = model.get("line").startsWith("Not") ? "yes" : "";
  }
  const seen = { "change:chosen": show, "change:marks": show, "change:marked": show, "change:told": answered, "msg:custom": receive };
  for (const [name, act] of Object.entries(seen)) model.on(name, act);
  show();
  el.append(root);
  requestAnimationFrame(() => board.center());
  return () => {
    player.pause();
    sounds.forEach((address) => URL.revokeObjectURL(address));
    for (const [name, act] of Object.entries(seen)) model.off(name, act);
  };
}

export default { render };
