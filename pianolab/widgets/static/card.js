// One point on the screen: what to look at on one side, what to record on the other.

const TYPING_PAUSE_MS = 700;

function pointCard(first, { record, move, addPhoto, pictures, keyboard: layout, state, whole, short = false, place = () => "" }) {
  let id = first.record;
  const fields = [];
  const heading = make("h3", { class: "pl-point-title", tabindex: -1, text: first.title });
  const line = make("p", { class: "pl-line", role: "alert" });
  const ask = asking(first.id, move);
  const cautions = [first.access, ...first.cautions].filter(Boolean);

  const looking = [
    make("p", { class: "pl-how", text: first.how }),
    make("dl", { class: "pl-facts" }, first.facts.map(([name, text]) => make("div", {}, make("dt", { text: name }), make("dd", { text })))),
    short && !whole
      ? make("details", { class: "pl-why-fold" }, make("summary", { text: "Why" }), make("p", { class: "pl-why", text: first.why }))
      : make("p", { class: "pl-why", text: first.why }),
  ];
  const read = make("div", { class: "pl-read" },
    cautions.length ? make("ul", { class: "pl-cautions" }, cautions.map((text) => make("li", {}, sign("caution"), make("span", { text })))) : null,
    whole ? make("details", { class: "pl-looking" }, make("summary", { text: "How to look, and why" }), ...looking) : looking);

  // a text field that saves itself after a pause, on Enter and on leaving
  function field(input, event) {
    let timer = 0;
    let told = input.value;
    let open = 0; // how many of its events wait for an answer
    const self = {
      input,
      asked: () => (open += 1),
      answered: () => (open -= 1),
      flush() {
        clearTimeout(timer);
        if (input.value === told) return;
        told = input.value;
        record(event(input.value), self);
      },
      accepted() {
        input.removeAttribute("aria-invalid");
      },
      refused(leaving) {
        input.setAttribute("aria-invalid", "true");
        if (leaving) input.focus();
      },
      show(text) {
        if (open || input.value !== told || input.getAttribute("aria-invalid")) return;
        if (document.activeElement === input && input.value.trim() !== "") return;
        input.value = text;
        told = input.value; // the browser may have taken out line breaks: that is nothing to save
      },
    };
    input.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(self.flush, TYPING_PAUSE_MS);
    });
    input.addEventListener("change", self.flush);
    input.addEventListener("blur", self.flush);
    input.addEventListener("keydown", (e) => {
      if (e.key === "Enter" && input.tagName === "INPUT") self.flush();
    });
    self.stop = () => clearTimeout(timer);
    fields.push(self);
    return self;
  }

  const value = { grade: choices, yes_no: choices, count: number, reading: number }[first.kind]();

  function choices() {
    const buttons = first.choices.map((choice) => make("button", {
      type: "button", role: "radio", class: "pl-choice", "aria-checked": "false", tabindex: -1,
      onclick: () => pick(choice.value), onkeydown: roam,
    }, make("span", { class: "pl-ring", "aria-hidden": "true" }), make("span", { class: "pl-choice-text", text: choice.text }),
      make("span", { class: "pl-choice-mark", "aria-hidden": "true", text: choice.mark })));
    const node = make("div", { class: `pl-choices pl-${first.kind}`, role: "radiogroup", "aria-label": first.title }, buttons);
    function pick(chosen) {
      first.choices.forEach((choice, i) => buttons[i].classList.toggle("pl-sending", choice.value === chosen));
      record({ do: "value", value: chosen });
    }
    function roam(event) {
      const here = buttons.indexOf(event.currentTarget);
      const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      event.stopPropagation();
      buttons[(here + step + buttons.length) % buttons.length].focus();
    }
    return {
      node, pick,
      show(now) {
        const chosen = now.choices.findIndex((c) => c.chosen);
        buttons.forEach((button, i) => {
          setFlag(button, "aria-checked", i === chosen);
          button.tabIndex = i === Math.max(0, chosen) ? 0 : -1;
          button.classList.remove("pl-sending");
        });
      },
    };
  }

  function number() {
    const count = first.kind === "count";
    const input = make("input", { type: "text", inputmode: count ? "numeric" : "decimal", class: "pl-number", "aria-label": `${first.title}${first.unit ? `, in ${first.unit}` : ""}`, autocomplete: "off" });
    const own = field(input, (text) => ({ do: "value", value: text }));
    const by = (step) => make("button", {
      type: "button", class: "pl-button pl-square", "aria-label": step > 0 ? "one more" : "one less", text: step > 0 ? "+" : "−",
      onclick: () => {
        input.value = String(Math.max(0, (parseInt(input.value, 10) || 0) + step));
        own.flush();
      },
    });
    const none = make("button", { type: "button", class: "pl-button", text: "None", onclick: () => { input.value = "0"; own.flush(); } });
    const usual = make("p", { class: "pl-soft pl-usual" });
    const row = count ? [by(-1), input, by(1), make("span", { text: first.unit }), none] : [input, make("span", { class: "pl-unit", text: first.unit })];
    return {
      node: make("div", {}, make("div", { class: "pl-row" }, row), usual),
      show(now) {
        own.show(now.number);
        setText(usual, now.against ? `${now.number} ${now.unit}: ${now.against}` : now.usual ? `Usual: ${now.usual}` : "");
        usual.dataset.side = now.side;
      },
    };
  }

  // not checked, with a reason
  const other = make("input", { type: "text", class: "pl-text", placeholder: "Why it was not looked at", "aria-label": "Why it was not looked at" });
  const otherField = field(other, (text) => ({ do: "reason", reason: "other", text }));
  const reasonButtons = first.reasons.map((r) => make("button", {
    type: "button", class: "pl-button pl-reason", "aria-pressed": "false", text: r.text,
    onclick: () => {
      if (r.value !== "other") return record({ do: "reason", reason: r.value });
      other.hidden = false;
      return other.focus();
    },
  }));
  const toggle = make("button", { type: "button", class: "pl-button pl-toggle", "aria-expanded": "false", onclick: () => showReasons(reasons.hidden) },
    make("span"), sign("down"));
  const notOpened = make("button", { type: "button", class: "pl-button pl-not-opened", hidden: true, onclick: () => move({ do: "not opened", opens: latest.not_opened.opens }) });
  const reasons = make("div", { class: "pl-reasons", role: "group", "aria-label": "Why it was not checked", hidden: true }, reasonButtons, other, notOpened);
  other.hidden = true;
  function showReasons(open) {
    reasons.hidden = !open;
    setFlag(toggle, "aria-expanded", open);
  }

  // keys, place, note, promise
  let drawn = null;
  const keysText = make("input", { type: "text", class: "pl-text", placeholder: "such as C4, F5-A5", "aria-label": "Keys concerned", autocomplete: "off", spellcheck: "false" });
  const keysField = field(keysText, (text) => ({ do: "keys", keys: text }));
  const keysPlace = make("div", { class: "pl-keys-place", hidden: true });
  const placeText = make("input", { type: "text", class: "pl-text", placeholder: "such as treble bridge", "aria-label": "Place on the instrument" });
  const placeField = field(placeText, (text) => ({ do: "place", place: text }));
  const labelled = (text, input) => make("label", { class: "pl-field" }, make("span", { class: "pl-label", text }), input);
  const another = make("button", { type: "button", class: "pl-button pl-quiet", text: "Record another place", onclick: () => move({ do: "another", point: first.id }) });
  const keysToggle = make("button", { type: "button", class: "pl-button pl-toggle", "aria-expanded": "false", onclick: () => showKeys(keysPlace.hidden) }, make("span"), sign("down"));
  keysPlace.append(make("div", { class: "pl-pair" }, labelled("Keys", keysText), labelled("Place", placeText), another));
  function showKeys(open) {
    keysPlace.hidden = !open;
    setFlag(keysToggle, "aria-expanded", open);
    if (!open) return;
    if (!drawn) {
      drawn = keyboard({ keys: layout.keys, label: "Keys concerned", choose: (keys) => record({ do: "keys", keys }) });
      keysPlace.append(drawn);
      drawn.show({ chosen: latest.keys });
    }
    requestAnimationFrame(() => drawn.center());
  }
  const photos = photoRow({ label: first.title, add: (name, bytes) => addPhoto(first.id, name, bytes), drop: (id) => move({ do: "drop photo", photo: id }), wanted: first.facts.some(([name]) => name === "Photo") });
  const words = (event, props = {}) => field(make("textarea", { class: "pl-text", rows: 2, ...props }), event);
  const note = words((text) => ({ do: "note", note: text }));
  const promise = words((text) => ({ do: "promise", promised: text }), { placeholder: "what, and by when" });

  const tabs = make("div", { class: "pl-tabs", role: "group", "aria-label": "Records of this point" });
  const others = make("ul", { class: "pl-others" });
  const pending = make("p", { class: "pl-soft pl-pending" });

  const write = make("div", { class: "pl-write" },
    line, ask.node, tabs, value.node, pending, make("div", { class: "pl-row" }, toggle, keysToggle), reasons);
  const beside = make("div", { class: "pl-beside" },
    make("div", { class: "pl-words" }, labelled("Note", note.input), labelled("The seller promises", promise.input)), photos, others);

  const back = make("button", { type: "button", class: "pl-button pl-large", onclick: () => move({ do: "back" }) }, sign("left"), make("span", { text: "Back" }));
  const next = make("button", { type: "button", class: "pl-button pl-large pl-main-button", onclick: () => move({ do: "next" }) }, make("span", { text: "Next" }), sign("right"));
  const step = make("p", { class: "pl-soft pl-point-step" });
  const fold = make("button", { type: "button", class: "pl-button pl-quiet pl-fold", "aria-expanded": "false", "aria-label": `Open or close ${first.title}` }, make("span", { class: "pl-said" }), sign("down"));
  const head = make("div", { class: "pl-card-head", onclick: () => whole && unfold(!isOpen()) }, heading, whole ? fold : step);
  const isOpen = () => node.dataset.folded !== "yes";
  function unfold(open) {
    node.dataset.folded = whole && !open ? "yes" : "";
    setFlag(fold, "aria-expanded", open);
  }
  const node = make("article", { class: whole ? "pl-card pl-compact" : "pl-card", "aria-label": first.title }, head, make("div", { class: "pl-card-body" }, read, write),
    whole ? null : make("div", { class: "pl-moves" }, back, state, next), keysPlace, beside);

  let latest = first;
  unfold(!whole);
  if ((first.per_key && !whole) || first.keys.length || first.place) requestAnimationFrame(() => showKeys(true));

  return {
    node, heading, point: first.id,
    record: () => id,
    unfold, isOpen,
    blank: () => latest.said === "",
    flush: () => fields.forEach((f) => f.flush()),
    close: () => fields.forEach((f) => f.stop()),
    photos,
    asks: () => !ask.node.hidden,
    say(text) {
      setText(line, text);
      if (text) value.show(latest);
      if (!text) fields.forEach((f) => f.accepted());
    },
    show(now, view) {
      latest = now;
      id = now.record;
      setText(step, [place(view), view.areas.find((a) => a.here).title, now.step, view.hour.station].filter(Boolean).join(" · "));
      setText(fold.firstChild, now.said || "open");
      if (now.asked.mine) unfold(true);
      ask.show(now.asked);
      value.show(now);
      setText(pending, now.pending ? `This record says: ${now.pending}.` : "");
      const pressed = now.reasons.find((r) => r.chosen);
      reasonButtons.forEach((button, i) => setFlag(button, "aria-pressed", now.reasons[i].chosen));
      setText(toggle.firstChild, now.put_off || "Not checked");
      setFlag(toggle, "aria-pressed", Boolean(pressed));
      setText(keysToggle.firstChild, ["Keys and place", now.keys_text, now.place].filter(Boolean).join(", ").replace(",", ":"));
      other.hidden = !(pressed?.value === "other") && document.activeElement !== other;
      otherField.show(now.reason_text);
      keysField.show(now.keys_text);
      drawn?.show({ chosen: now.keys });
      placeField.show(now.place);
      note.show(now.note);
      promise.show(now.promised);
      tabs.replaceChildren(...now.records.map((r) => make("button", {
        type: "button", class: "pl-button pl-tab", "aria-pressed": r.here ? "true" : "false", text: r.text,
        onclick: () => !r.here && move({ do: "pick", point: first.id, record: r.id }),
      })));
      another.hidden = !now.can_add;
      notOpened.hidden = !now.not_opened.opens;
      setText(notOpened, now.not_opened.text || "");
      photos.show(now.photos, pictures());
      others.replaceChildren(...now.others.map((text) => make("li", { text })));
      back.disabled = view.first;
      next.disabled = view.last;
    },
    shortcut(key, target) {
      if (first.kind === "grade" && /^[1-5]$/.test(key)) value.pick(Number(key));
      else if (first.kind === "yes_no" && /^[yn]$/i.test(key)) value.pick(key.toLowerCase() === "y");
      else if (/^u$/i.test(key)) { showReasons(true); reasonButtons[0].focus(); }
      else if (/^t$/i.test(key)) note.input.focus();
      else if (/^s$/i.test(key)) promise.input.focus();
      else if (/^p$/i.test(key)) photos.choose();
      else if (/^k$/i.test(key)) { showKeys(true); drawn.focusKeys(); }
      else if (key === ".") move({ do: "next" });
      else if (key === ",") move({ do: "back" });
      else if (key === "ArrowRight" && target === heading) move({ do: "next" });
      else if (key === "ArrowLeft" && target === heading) move({ do: "back" });
      else return false;
      return true;
    },
  };
}

// Two entries at one point, from here and from another screen: both in words, and a button for each.
function asking(point, move) {
  const side = (mine, words) => {
    const text = make("b");
    return { text, node: make("button", { type: "button", class: "pl-button pl-side", onclick: () => move({ do: "settle", point, mine }) }, make("span", { text: words }), text) };
  };
  const [yours, theirs] = [side(true, "Put yours:"), side(false, "Keep what is saved:")];
  const node = make("div", { class: "pl-asking", role: "alert", hidden: true },
    make("p", { text: "Another screen has entered something else here meanwhile. Nothing is overwritten; which shall count?" }), yours.node, theirs.node);
  return {
    node,
    show(asked) {
      node.hidden = !asked.mine;
      setText(yours.text, asked.mine || "");
      setText(theirs.text, asked.saved || "");
    },
  };
}
