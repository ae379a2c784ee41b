// The drill player: sounds, choices, and the truth only after the answer has been taken.

// After ten answers the letters go on that neither play a sound nor go on to the next task.
const ANSWER_KEYS = "1234567890DEFGH";
const STEPS = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 };
const RIGHT = "M3 9.5 L7 13.5 L15 4.5";
const WRONG = "M4 4 L14 14 M14 4 L4 14";
const NOTED = "M4 9 h10";

function shape(d) {
  return draw(
    "svg",
    { viewBox: "0 0 18 18", width: 22, height: 22, "aria-hidden": "true", class: "pl-sign" },
    draw("path", { d, fill: "none", stroke: "currentColor", "stroke-width": 2.4, "stroke-linecap": "round", "stroke-linejoin": "round" }),
  );
}

// A chart of the answer; its cursor follows whichever sound is playing, from where the drawn note begins in it.
function drillChart(curves, words) {
  const wide = 620, high = 220, left = 44, bottom = 34, top = 24;
  const pitch = curves[0].x_unit === "Hz";
  const place = (v) => (pitch ? Math.log2(v) : v);
  const all = curves.flatMap((c) => c.x.map(place));
  const low = Math.min(...all), span = Math.max(...all) - low || 1;
  const x = (v) => left + ((wide - left - 12) * (place(v) - low)) / span;
  const y = (db) => top + ((high - top - bottom) * -db) / 60;
  const ticks = pitch ? [63, 250, 1000, 4000] : [0, 1, 2, 3, 4, 6, 8, 10, 20, 30];
  const shown = ticks.filter((t) => place(t) >= low && place(t) <= low + span);
  const lines = curves.map((c, n) =>
    draw("polyline", {
      points: c.x.map((v, i) => `${x(v).toFixed(1)},${y(Math.max(-60, c.level_db[i])).toFixed(1)}`).join(" "),
      fill: "none", stroke: ["#d55e00", "#0072b2", "#857d70"][n % 3], "stroke-width": 2, "stroke-dasharray": ["none", "7 4", "2 4"][n % 3],
    }),
  );
  const text = (props, content) => {
    const node = draw("text", props);
    node.textContent = content;
    return node;
  };
  const keys = curves.flatMap((c, n) => [
    draw("line", { x1: left + 8 + 190 * n, x2: left + 38 + 190 * n, y1: 11, y2: 11, stroke: ["#d55e00", "#0072b2", "#857d70"][n % 3], "stroke-width": 2.5, "stroke-dasharray": ["none", "7 4", "2 4"][n % 3] }),
    text({ x: left + 44 + 190 * n, y: 15 }, c.label),
  ]);
  const cursor = draw("line", { y1: top, y2: high - bottom, stroke: "currentColor", "stroke-width": 1.5, visibility: "hidden", class: "pl-drill-cursor" });
  const chart = draw(
    "svg",
    { viewBox: `0 0 ${wide} ${high}`, width: wide, height: high, role: "img", "aria-label": words, class: "pl-drill-chart" },
    ...[0, -20, -40, -60].flatMap((db) => [
      draw("line", { x1: left, x2: wide - 12, y1: y(db), y2: y(db), stroke: "currentColor", "stroke-opacity": 0.2 }),
      text({ x: left - 6, y: y(db) + 4, "text-anchor": "end" }, String(db)),
    ]),
    ...shown.map((t) => text({ x: x(t), y: high - 16, "text-anchor": "middle" }, pitch && t >= 1000 ? `${t / 1000}k` : String(t))),
    text({ x: wide - 12, y: high - 2, "text-anchor": "end" }, pitch ? "Hz" : "s"),
    text({ x: left - 6, y: high - 2, "text-anchor": "end" }, "dB"),
    ...keys,
    ...lines,
    cursor,
  );
  const at = (seconds) => {
    const seen = !pitch && seconds >= 0 && seconds <= low + span;
    cursor.setAttribute("visibility", seen ? "visible" : "hidden");
    if (seen) for (const name of ["x1", "x2"]) cursor.setAttribute(name, x(seconds).toFixed(1));
  };
  return { chart, at };
}

function render({ model, el }) {
  const lesson = make("span", { class: "pl-soft" });
  const count = make("span", { class: "pl-soft" });
  const question = make("p", { class: "pl-drill-question" });
  const picture = make("img", { class: "pl-drill-picture", alt: "Drawing of the part to grade", hidden: true });
  const plays = make("div", { class: "pl-row" });
  const heard = make("p", { class: "pl-soft pl-drill-heard", role: "status" });
  const choices = make("div", { class: "pl-drill-choices", role: "group", "aria-label": "Answers" });
  const told = make("div", { class: "pl-drill-told", hidden: true, "aria-live": "polite" });
  const line = make("p", { class: "pl-drill-line", role: "alert" });
  const again = make("div", { class: "pl-row pl-drill-again", hidden: true },
    make("button", { class: "pl-button", type: "button", onclick: () => next() }, make("kbd", { text: "N" }), "Try again"));
  const help = make("p", { class: "pl-soft" });
  const root = make(
    "section",
    { class: "pl-picker pl-drill", tabindex: 0, "aria-label": "Listening task", "data-lm-suppress-shortcuts": "true" },
    make("div", { class: "pl-drill-top" }, lesson, count), question, picture, plays, heard, choices, line, again, told, help,
  );
  const answerKeys = () => task?.keys ?? [...ANSWER_KEYS];
  // Stuck: something went wrong, and N asks for the task again.
  let task = null, answered = false, waiting = false, stuck = false, players = [], without = null, urls = [], cursorAt = null, frame = 0;

  function url(buffer, mime) {
    const made = URL.createObjectURL(new Blob([buffer], { type: mime }));
    urls.push(made);
    return made;
  }

  function silence() {
    for (const p of [...players, without]) if (p) { p.audio.pause(); p.audio.currentTime = 0; setFlag(p.button, "data-playing", false); }
  }

  function player(label, key, buffer, mime) {
    const audio = new Audio(url(buffer, mime));
    const button = make("button", { class: "pl-button pl-drill-play", type: "button", onclick: () => play(p) }, make("kbd", { text: key }), `Play ${label}`);
    const p = { label, audio, button };
    audio.addEventListener("ended", () => { setFlag(button, "data-playing", false); setText(heard, `${label} has ended`); });
    return p;
  }

  function follow(p) {
    cancelAnimationFrame(frame);
    if (!cursorAt || p.audio.paused) { cursorAt?.(-1); return; }
    cursorAt(p.audio.currentTime - (p.begins ?? 0));
    frame = requestAnimationFrame(() => follow(p));
  }

  function play(p) {
    silence();
    setFlag(p.button, "data-playing", true);
    setText(heard, `${p.label} is playing`);
    p.audio.onplaying = () => follow(p);
    p.audio.play().catch((error) => setText(line, `The browser would not play it: ${error.message}`));
  }

  function answer(place) {
    if (!task || answered || waiting || place >= task.choices.length) return;
    waiting = true;
    // A button that is switched off drops the focus, and with it the keys.
    root.focus({ preventScroll: true });
    [...choices.children].forEach((b, n) => setFlag(b, "aria-pressed", n === place));
    model.send({ said: "answer", choice: place, number: task.number });
  }

  function step(by) {
    const all = [...choices.children];
    const at = all.indexOf(document.activeElement);
    const to = at < 0 ? (by > 0 ? 0 : all.length - 1) : (at + by + all.length) % all.length;
    if (all.length && !answered) all[to].focus();
  }

  function next() {
    if (!answered && !stuck) return;
    silence();
    answered = stuck = false;
    again.hidden = true;
    setText(line, "");
    root.focus({ preventScroll: true });
    setText(heard, "The next task is being made");
    model.send({ said: "next" });
  }

  function showTask(view, kinds, buffers) {
    silence();
    urls.forEach((u) => URL.revokeObjectURL(u));
    urls = [];
    task = view; answered = waiting = stuck = false; without = null; cursorAt = null;
    setText(lesson, view.lesson);
    setText(count, view.finished ? `${view.count} of ${view.count} answered` : `Task ${view.number} of ${view.count}`);
    setText(question, view.finished ? view.closing || "All tasks are answered." : view.question);
    picture.hidden = !view.picture;
    if (view.picture) picture.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(view.picture)}`;
    players = kinds.map((k, n) => player(k.label, k.label, buffers[n], k.mime));
    plays.replaceChildren(...players.map((p) => p.button));
    choices.replaceChildren(
      ...view.choices.map((text, n) =>
        make("button", { class: "pl-button pl-drill-choice", type: "button", "aria-pressed": "false", onclick: () => answer(n) },
          n < answerKeys().length ? make("kbd", { text: answerKeys()[n] }) : null, make("span", { text })),
      ),
    );
    told.hidden = again.hidden = true;
    told.replaceChildren();
    setText(heard, "");
    setText(line, "");
    setText(help, view.finished ? "" : `Made from ${view.made_from}. Keys: ${kinds.length ? `${kinds.map((k) => k.label).join(", ")} play, ` : ""}numbers${view.choices.length > 10 ? " and letters" : ""} answer, arrows go through the answers, N goes on.`);
  }

  function markChoices(reply) {
    const names = { right: shape(RIGHT), wrong: shape(WRONG) };
    [...choices.children].forEach((b, n) => {
      const true_one = reply.answer !== "" && task.choices[n] === reply.answer;
      setFlag(b, "aria-pressed", n === reply.chosen);
      b.disabled = true;
      if (true_one) { b.dataset.mark = "right"; b.prepend(names.right); b.setAttribute("aria-label", `${task.choices[n]}: this is so`); }
      else if (n === reply.chosen && reply.right === false) { b.dataset.mark = "wrong"; b.prepend(names.wrong); b.setAttribute("aria-label", `${task.choices[n]}: your answer, not so`); }
      if (reply.counts) b.append(make("span", { class: "pl-drill-count", text: String(reply.counts[n]) }));
    });
  }

  function showTold(reply, buffers) {
    answered = true; waiting = false;
    const ours = root.contains(document.activeElement);
    markChoices(reply);
    const mark = shape(reply.right === null ? NOTED : reply.right ? RIGHT : WRONG);
    const buttons = make("div", { class: "pl-row" });
    players.forEach((p) => { p.begins = reply.begins; });
    if (reply.sound) {
      without = player(reply.sound.label, "W", buffers[0], reply.sound.mime);
      without.begins = reply.without_begins;
      buttons.append(without.button);
    }
    const onward = make("button", { class: "pl-button pl-drill-next", type: "button", onclick: next }, make("kbd", { text: "N" }), "Next");
    buttons.append(onward);
    const drawn = reply.curves.length ? drillChart(reply.curves, reply.chart_words) : null;
    cursorAt = drawn ? drawn.at : null;
    told.replaceChildren(make("p", { class: "pl-drill-headline" }, mark, make("span", { text: reply.headline })), make("p", { text: reply.explanation }));
    if (drawn) told.append(drawn.chart);
    told.append(buttons);
    if (reply.credit) told.append(make("p", { class: "pl-soft pl-drill-credit", text: reply.credit }));
    told.hidden = false;
    if (ours) root.focus({ preventScroll: true });
  }

  function showTrouble(said) {
    waiting = false;
    stuck = true;
    again.hidden = false;
    for (const onward of told.querySelectorAll(".pl-drill-next")) onward.hidden = true;
    if (!task) setText(question, "The first task could not be made");
    setText(heard, "");
    setText(line, said.replace(/[^.!?]$/, "$&."));
  }

  root.addEventListener("keydown", (event) => {
    event.stopPropagation();
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    // Keyboards that give figures only with Shift say which key it was all the same.
    const figure = /^(?:Digit|Numpad)(\d)$/.exec(event.code);
    const key = figure ? figure[1] : event.key.toUpperCase();
    const p = players.find((one) => one.label.toUpperCase() === key);
    if (p) play(p);
    else if (key === "W" && without) play(without);
    else if (key === "N") next();
    else if (event.key in STEPS) step(STEPS[event.key]);
    else if (key.length === 1 && answerKeys().includes(key)) answer(answerKeys().indexOf(key));
    else return;
    event.preventDefault();
  });

  const onMessage = (message, buffers) => {
    if (message.says === "task") showTask(message.view, message.sounds, buffers);
    else if (message.says === "told") showTold(message, buffers);
    else if (message.says === "trouble") showTrouble(message.line);
  };
  model.on("msg:custom", onMessage);
  el.append(root);
  setText(question, "The first task is being made");
  model.send({ said: "hello" });
  return () => {
    model.off("msg:custom", onMessage);
    silence();
    cancelAnimationFrame(frame);
    urls.forEach((u) => URL.revokeObjectURL(u));
  };
}

export default { render };
