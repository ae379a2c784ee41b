// The walk's screen: draws the view that Python gives, tells Python what was pressed or typed, keeps nothing.

const PATIENCE_MS = 4000;
const WRITES = new Set(["value", "reason", "keys", "place", "note", "promise", "photo", "drop photo", "not opened", "no time", "take back", "settle"]);
const KEYS_HELP = "1 to 5 choose a grade, Y and N answer, U not checked, T note, S what the seller promises, P photo, K keys, A whole area, full stop next, comma back, Esc leaves a field";

function render({ model, el }) {
  const me = Math.random().toString(36).slice(2);
  const root = make("section", { class: "pl-walk", "data-lm-suppress-shortcuts": "true", onkeydown: shortcut });
  keepFocus(root);
  const waiting = new Map(); // number of an event without an answer yet -> the field and the card it came from
  let sent = 0;
  let afterwards = null;
  let impatient = 0;
  let cards = new Map(); // point -> its card on the screen: one, or all of an area
  let here = ""; // the point the walk stands at
  let drawn = "";

  // --- telling Python, and what becomes of it
  function tell(event, { field = null, card = null, buffers = undefined } = {}) {
    sent += 1;
    try {
      model.send({ ...event, from: me, n: sent }, undefined, buffers);
    } catch {
      return showStatus("stopped", LOST);
    }
    waiting.set(sent, { field, card, first: event.do === "value" && !field && card?.blank() });
    field?.asked();
    if (WRITES.has(event.do)) showStatus("waiting", "Saving");
    clearTimeout(impatient);
    impatient = setTimeout(() => waiting.size && showStatus("stopped", "Not saved yet: the kernel does not answer. Leave this page open; if it stays so, choose Run, then Run All Cells."), PATIENCE_MS);
    return undefined;
  }
  const flush = () => cards.forEach((card) => card.flush());
  function move(event) {
    flush();
    if (waiting.size) afterwards = event;
    else tell(event);
  }
  function settle() {
    const answer = model.get("answer");
    const mine = answer.from === me;
    const { field, card, first } = (mine && waiting.get(answer.n)) || {};
    for (const n of mine ? [...waiting.keys()].filter((n) => n <= answer.n) : []) {
      waiting.get(n)?.field?.answered();
      waiting.delete(n);
    }
    if (answer.ok) {
      cards.forEach((each) => each.say(""));
      if (answer.line && !waiting.size) showStatus("saved", answer.line);
    }
    const refused = mine && !answer.ok;
    if (refused) field?.refused(afterwards !== null);
    redraw(); // before the refusal is said: a card whose record another screen has changed is drawn anew
    if (refused) {
      const at = cards.get(card?.point) ?? cards.get(here);
      if (!at.asks()) at.say(answer.line);
      afterwards = null;
      showStatus("stopped", at.asks() ? "Not saved yet: choose one of the two" : "Last entry not saved");
    }
    if (answer.ok && first && cards.size > 1) turnPage(card.point);
    if (waiting.size) return;
    clearTimeout(impatient);
    if (afterwards) {
      tell(afterwards);
      afterwards = null;
    }
  }

  // --- head: what this is, how far it is, whether it is saved
  const title = make("h2", { class: "pl-title" });
  const subtitle = make("p", { class: "pl-soft" });
  const total = make("span", { class: "pl-total" });
  const totalBar = tallyBar();
  const status = make("p", { class: "pl-status", role: "status", "aria-live": "polite" });
  const takeBack = make("button", { type: "button", class: "pl-button pl-quiet", text: "Take back last change", onclick: () => move({ do: "take back" }) });
  const wholeArea = make("button", { type: "button", class: "pl-button", "aria-pressed": "false", text: "Whole area", onclick: () => move({ do: "mode", mode: model.get("view").mode === "area" ? "point" : "area" }) });
  const look = make("button", { type: "button", class: "pl-button pl-quiet", text: "Show what others entered", onclick: () => move({ do: "look" }) });
  const hour = hourLine({ choose: (minutes) => move({ do: "time", minutes }), stop: () => move({ do: "no time" }) });
  root.append(
    make("header", { class: "pl-head" },
      make("div", { class: "pl-about-what" }, title, subtitle),
      make("div", { class: "pl-progress" }, total, totalBar),
      make("div", { class: "pl-row pl-ways" }, wholeArea, look)),
    hour.node,
  );
  function showStatus(kind, text) {
    if (status.dataset.kind === kind && status.lastChild?.textContent === text) return;
    status.dataset.kind = kind;
    status.replaceChildren(sign(kind), make("span", { text }));
  }

  // --- areas
  const openAreas = make("button", { type: "button", class: "pl-button pl-areas-open", "aria-expanded": "false", onclick: () => showAreas(root.dataset.areas !== "open") });
  const areaList = make("ol", { class: "pl-areas" });
  const rail = make("nav", { class: "pl-rail", "aria-label": "Areas of the walk" }, openAreas, areaList);
  const areaItems = new Map();
  function showAreas(open) {
    root.dataset.areas = open ? "open" : "";
    setFlag(openAreas, "aria-expanded", open);
  }
  function drawAreas(areas) {
    for (const area of areas) {
      if (!areaItems.has(area.id)) {
        const name = make("span", { class: "pl-area-name" });
        const tally = make("span", { class: "pl-soft pl-area-tally" });
        const bar = tallyBar();
        const button = make("button", { type: "button", class: "pl-area", onclick: () => { showAreas(false); move({ do: "go area", area: area.id }); } }, name, tally, bar);
        areaItems.set(area.id, { button, name, tally, bar });
        areaList.append(make("li", {}, button));
      }
      const item = areaItems.get(area.id);
      setText(item.name, area.title);
      setText(item.tally, area.text);
      item.bar.show(area);
      if (area.here) item.button.setAttribute("aria-current", "step");
      else item.button.removeAttribute("aria-current");
      if (area.here) {
        openAreas.replaceChildren(make("span", { class: "pl-area-name", text: area.title }), make("span", { class: "pl-soft", text: `${area.text}. ${area.step}` }), sign("down"));
        const top = item.button.offsetTop - areaList.offsetTop;
        if (top < areaList.scrollTop || top + item.button.offsetHeight > areaList.scrollTop + areaList.clientHeight) areaList.scrollTop = top - 60;
      }
    }
  }

  // --- the area's points
  const steps = make("ol", { class: "pl-steps", "aria-label": "Points of this area" });
  function drawSteps(points) {
    steps.replaceChildren(...points.map((p, i) => {
      const words = { open: "open", checked: "checked", "not checked": "not checked", absent: "this piano has none" }[p.state];
      const button = make("button", {
        type: "button", class: "pl-step", "data-state": p.state, title: p.title, "aria-label": `${i + 1}. ${p.title}, ${words}`,
        "aria-current": p.here ? "step" : null, onclick: () => move({ do: "go", point: p.id }),
      }, make("span", { text: i + 1 }), p.state === "checked" ? sign("saved") : p.state === "open" ? null : sign("slash"));
      return make("li", {}, button);
    }));
  }

  const place = make("div", { class: "pl-place" });
  const state = make("div", { class: "pl-state" }, status, takeBack);
  const backArea = make("button", { type: "button", class: "pl-button pl-large", onclick: () => move({ do: "back" }) }, sign("left"), make("span", { text: "Area before" }));
  const nextArea = make("button", { type: "button", class: "pl-button pl-large pl-main-button", onclick: () => move({ do: "next" }) }, make("span", { text: "Next area" }), sign("right"));
  const areaMoves = make("div", { class: "pl-area-moves", hidden: true }, backArea, nextArea);
  const inside = model.get("inside");
  if (inside) root.dataset.inside = "yes";
  const main = make("div", { class: "pl-main" }, place, areaMoves, steps, inside ? make("div", { class: "pl-row" }, total, wholeArea, look) : null);
  root.append(make("div", { class: "pl-body" }, rail, main));
  root.append(make("p", { class: "pl-help pl-soft" }, make("b", { text: "Keyboard: " }), document.createTextNode(KEYS_HELP)));

  function newCard(point, whole) {
    const card = pointCard(point, {
      record: (event, field = null) => tell({ ...event, point: card.point, record: card.record() }, { field, card }),
      addPhoto: (id, name, bytes) => tell({ do: "photo", point: id, name }, { card, buffers: [bytes] }),
      move, whole, pictures: () => model.get("pictures"), keyboard: model.get("keyboard"), state: whole ? null : state,
      short: inside,
      place: (view) => (inside ? `${view.title}, ${view.day}` : ""),
    });
    return card;
  }
  function redraw() {
    const view = model.get("view");
    const whole = view.mode === "area";
    const points = whole ? view.cards : [view.point];
    setText(title, view.title);
    setText(subtitle, [view.subtitle, view.examiner && `recorded by ${view.examiner}`].filter(Boolean).join(", "));
    setText(total, view.progress);
    totalBar.show(view.total);
    hour.show(view.hour);
    takeBack.hidden = !view.can_take_back;
    setFlag(wholeArea, "aria-pressed", whole);
    areaMoves.hidden = !whole;
    [backArea.disabled, nextArea.disabled] = [view.first, view.last];
    drawAreas(view.areas);
    drawSteps(view.points);
    const key = JSON.stringify([whole, points.map((p) => p.id)]);
    const moved = here !== "" && (view.point.id !== here || key !== drawn);
    if (key !== drawn) {
      cards.forEach((card) => card.close());
      cards = new Map(points.map((p) => [p.id, newCard(p, whole)]));
      place.replaceChildren(...(whole ? [state] : []), ...[...cards.values()].map((card) => card.node));
    }
    for (const point of points) {
      const card = cards.get(point.id);
      if (card.record() === point.record) continue;
      const fresh = newCard(point, whole);
      fresh.unfold(card.isOpen());
      card.close();
      card.node.replaceWith(fresh.node);
      cards.set(point.id, fresh);
    }
    if (key !== drawn) cards.get(view.point.id).unfold(true);
    here = view.point.id;
    drawn = key;
    if (moved) arrive(cards.get(here));
    points.forEach((point) => cards.get(point.id).show(point, view));
  }
  function arrive(card) {
    card.heading.focus({ preventScroll: true });
    const box = (cards.size > 1 ? card.node : main).getBoundingClientRect();
    if (box.top < 0 || box.top > window.innerHeight * 0.7) (cards.size > 1 ? card.node : main).scrollIntoView({ block: "start" });
  }
  // In a whole area a point that has got its first answer folds, and the next one without any opens.
  function turnPage(point) {
    const order = [...cards.values()];
    const at = order.findIndex((card) => card.point === point);
    const next = [...order.slice(at + 1), ...order.slice(0, at)].find((card) => card.blank());
    order[at].unfold(false);
    next?.unfold(true);
    (next ?? order[at]).heading.focus({ preventScroll: true });
    const box = (next ?? order[at]).node.getBoundingClientRect();
    if (box.top < 0 || box.bottom > window.innerHeight) order[at].node.scrollIntoView({ block: "start" });
  }
  const cardAt = (node) => [...cards.values()].find((card) => card.node.contains(node)) ?? cards.get(here);

  function shortcut(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    const card = cardAt(event.target);
    if (event.key === "Escape") {
      if (root.dataset.areas === "open") showAreas(false);
      card.heading.focus();
    } else if (!isTyping(event.target)) {
      if (/^a$/i.test(event.key)) wholeArea.click();
      else if (!card.shortcut(event.key, event.target)) return event.stopPropagation();
      event.preventDefault();
    }
    return event.stopPropagation();
  }

  model.on("change:view", redraw);
  model.on("change:pictures", redraw);
  model.on("change:answer", settle);
  redraw();
  showStatus("saved", "All changes so far are saved");
  el.append(root);
  return () => {
    flush();
    cards.forEach((card) => card.close());
    clearTimeout(impatient);
    hour.close();
    model.off("change:view", redraw);
    model.off("change:pictures", redraw);
    model.off("change:answer", settle);
  };
}

export default { render };
