// Opinions of a touch: one player at a time. Nothing another player said is ever in this page before all are done.

const NOTE_PAUSE_MS = 700;

function render({ model, el }) {
  const me = Math.random().toString(36).slice(2);
  let sent = 0;
  let shownPlayer = null;
  let noteTimer = 0;

  const title = make("h2", { class: "pl-title" });
  const people = make("div", { class: "pl-row pl-people", role: "group", "aria-label": "Players" });
  const name = make("input", { type: "text", class: "pl-text pl-name", placeholder: "first name or number", "aria-label": "Name of a player", maxlength: 40, autocomplete: "off", onkeydown: (e) => e.key === "Enter" && addPlayer() });
  const add = make("button", { type: "button", class: "pl-button", text: "Sit down", onclick: addPlayer });
  const status = make("p", { class: "pl-status", role: "status", "aria-live": "polite" });
  const body = make("div", { class: "pl-touch-body" });
  const root = make("section", { class: "pl-touch", "data-lm-suppress-shortcuts": "true", onkeydown: (e) => e.stopPropagation() },
    make("header", { class: "pl-head" }, title, people, make("div", { class: "pl-row" }, name, add), status), body);
  let asked = new Map();
  let turn = ""; // the question whose first answer is on its way

  function tell(event) {
    sent += 1;
    say("waiting", "Saving");
    try {
      model.send({ ...event, from: me, n: sent });
    } catch {
      say("stopped", LOST);
    }
  }
  function say(kind, text) {
    status.dataset.kind = kind;
    status.replaceChildren(...(text ? [sign(kind), make("span", { text })] : []));
  }
  function addPlayer() {
    if (name.value.trim()) tell({ do: "add", player: name.value });
    else name.focus();
  }
  function settle() {
    const answer = model.get("answer");
    if (answer.from !== me) return;
    if (answer.ok) name.value = "";
    say(answer.ok ? "saved" : "stopped", answer.line);
  }

  function question(q) {
    const buttons = q.places.map(([value, text], i) => make("button", {
      type: "button", role: "radio", class: "pl-choice pl-place-choice", "aria-checked": "false", tabindex: i ? -1 : 0,
      "aria-label": text, onclick: () => { turn = chosen ? "" : q.id; tell({ do: "answer", scale: q.id, value }); }, onkeydown: roam,
    }, make("span", { class: "pl-ring", "aria-hidden": "true" }), make("span", { class: "pl-choice-text", text })));
    function roam(event) {
      const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
      const digit = /^[1-5]$/.test(event.key) ? q.places.findIndex(([value]) => value === Number(event.key)) : -1;
      if (digit >= 0) return buttons[digit].click();
      if (!step) return undefined;
      event.preventDefault();
      return buttons[(buttons.indexOf(event.currentTarget) + step + buttons.length) % buttons.length].focus();
    }
    const before = make("p", { class: "pl-soft", text: "You have answered this before; a new answer replaces it." });
    let chosen = null;
    const said = make("span", { class: "pl-soft" });
    const head = make("button", { type: "button", class: "pl-button pl-quiet pl-fold", "aria-expanded": "false", onclick: () => open(body.hidden) },
      make("b", { text: q.name }), said, sign("down"));
    const body = make("div", { class: "pl-question-body" }, make("p", { text: q.question }),
      make("div", { class: "pl-scale", role: "radiogroup", "aria-label": q.name }, buttons), before);
    const node = make("div", { class: `pl-question pl-${q.kind}` }, make("h4", {}, head), body);
    function open(on) {
      body.hidden = !on;
      setFlag(head, "aria-expanded", on);
    }
    open(false);
    return {
      node, open, id: q.id,
      answered: () => chosen !== null,
      focus: () => (buttons.find((b) => b.tabIndex === 0) ?? head).focus({ preventScroll: true }),
      show(now) {
        chosen = now.chosen ?? null;
        setText(said, chosen ? q.places.find(([value]) => value === chosen)[1] : now.before ? "answered before" : "not answered");
        buttons.forEach((button, i) => {
          setFlag(button, "aria-checked", q.places[i][0] === now.chosen);
          button.tabIndex = q.places[i][0] === now.chosen || (!now.chosen && i === 0) ? 0 : -1;
        });
        before.hidden = !now.before;
      },
    };
  }
  // A question that has got its first answer folds, and the next one without any opens.
  function turnPage() {
    const all = [...asked.values()].filter((q) => q.open);
    const at = all.findIndex((q) => q.id === turn);
    turn = "";
    if (at < 0 || !all[at].answered()) return;
    all[at].open(false);
    const next = [...all.slice(at + 1), ...all.slice(0, at)].find((q) => !q.answered());
    if (!next) return;
    next.open(true);
    next.focus();
    const box = next.node.getBoundingClientRect();
    if (box.top < 0 || box.bottom > window.innerHeight) all[at].node.scrollIntoView({ block: "start" });
  }
  function pair(other) {
    const choose = (rather, text) => make("button", { type: "button", class: "pl-button", "aria-pressed": "false", text, onclick: () => tell({ do: "try", other: other.id, rather }) });
    const [mine, theirs] = [choose("this", "This one"), choose("other", other.name)];
    return {
      node: make("div", { class: "pl-row" }, make("span", { text: `Tried against ${other.name}: I would rather play` }), mine, theirs),
      show(now) {
        setFlag(mine, "aria-pressed", now.rather === "this");
        setFlag(theirs, "aria-pressed", now.rather === "other");
      },
    };
  }
  function sheet(view) {
    asked = new Map();
    const part = (kind, heading, words) => {
      const own = view.questions.filter((q) => q.kind === kind);
      own.forEach((q) => asked.set(q.id, question(q)));
      return own.length ? make("section", { class: "pl-part" }, make("h3", { text: heading }), make("p", { class: "pl-soft", text: words }), own.map((q) => asked.get(q.id).node)) : null;
    };
    view.trials.forEach((t) => asked.set(`trial ${t.id}`, pair(t)));
    const note = make("textarea", { class: "pl-text", rows: 2, "aria-label": "In your own words" });
    const keep = () => {
      clearTimeout(noteTimer);
      if (note.value !== model.get("view").note) tell({ do: "note", note: note.value });
    };
    note.addEventListener("input", () => { clearTimeout(noteTimer); noteTimer = setTimeout(keep, NOTE_PAUSE_MS); });
    note.addEventListener("blur", keep);
    const done = make("button", { type: "button", class: "pl-button pl-large pl-main-button", text: `Done: hide the answers of ${view.current}`, onclick: () => { keep(); tell({ do: "done" }); } });
    return [
      make("p", { class: "pl-who", text: `${view.current} plays and answers alone. The others look away.` }),
      part("taste", "Taste", "Neither end is better. Where between the two does this piano lie?"),
      part("fault", "Faults", "Here one end is right and the other wrong. Choose the sentence that fits."),
      part("liking", "Liking", "Yours alone; nobody has to agree."),
      view.trials.length ? make("section", { class: "pl-part" }, make("h3", { text: "Side by side" }), make("p", { class: "pl-soft", text: "Only for pianos you have played as well." }), view.trials.map((t) => asked.get(`trial ${t.id}`).node)) : null,
      make("section", { class: "pl-part" }, make("h3", { text: "In your own words" }), note),
      make("div", { class: "pl-row" }, done),
    ].filter(Boolean);
  }
  function together(view) {
    const head = make("tr", {}, make("th"), make("th", { scope: "col", text: "Scale" }), view.names.map((n) => make("th", { scope: "col", text: n })));
    const rows = view.rows.map(([kind, scale, texts]) => make("tr", { "data-kind": kind }, make("td", { text: kind }), make("th", { scope: "row", text: scale }), texts.map((text) => make("td", { text }))));
    return [
      make("h3", { text: "Side by side" }),
      make("div", { class: "pl-wide" }, make("table", { class: "pl-together" }, make("thead", {}, head), make("tbody", {}, rows))),
      make("ul", {}, view.tried.map((text) => make("li", { text }))),
    ];
  }
  function redraw() {
    const view = model.get("view");
    setText(title, `Players on the touch: ${view.title}`);
    people.replaceChildren(...view.players.map((p) => make("button", {
      type: "button", class: "pl-button", disabled: p.done, "aria-pressed": p.here ? "true" : "false", onclick: () => tell({ do: "sit", player: p.name }),
    }, p.done ? sign("saved") : null, make("span", { text: p.done ? `${p.name} has answered` : p.here ? `${p.name} plays` : `${p.name} sits down` }))));
    const key = view.current || (view.revealed ? "all" : "nobody");
    const fresh = key !== shownPlayer;
    if (fresh || view.revealed) {
      clearTimeout(noteTimer);
      asked = new Map();
      body.replaceChildren(...(view.current ? sheet(view) : view.revealed ? together(view) : [make("p", { class: "pl-soft", text: view.players.length ? "Who sits down next? Answers appear when all have answered." : "Write the name of the first player." })]));
      if (shownPlayer !== null) root.scrollIntoView({ block: "start" });
    }
    shownPlayer = key;
    view.questions.forEach((q) => asked.get(q.id)?.show(q));
    if (fresh) asked.get(view.questions[0]?.id)?.open(true);
    if (turn) turnPage();
    view.trials.forEach((t) => asked.get(`trial ${t.id}`)?.show(t));
  }
  model.on("change:view", redraw);
  model.on("change:answer", settle);
  redraw();
  el.append(root);
  return () => {
    clearTimeout(noteTimer);
    model.off("change:view", redraw);
    model.off("change:answer", settle);
  };
}

export default { render };
