// The recorder: what to record, the microphone, level and noise, the guided scale, what to play again, and a file instead.

const RESEND_MS = 3000;
const AT_ONCE = 8;
const PROBES = 2;
const FILE_PIECE = 1 << 20;
const CHORD_S = 4;
const SILENCE_S = 10;

const VERDICTS = {
  good: "good", "near the top": "close to the top: play no louder than this", soft: "a little soft: move the microphone nearer if you can",
  clipped: "cut off at the top: move the microphone away, or turn its level down, and play the chord again",
  "too soft": "too soft: move the microphone nearer, or turn its level up, and play the chord again",
  "nothing heard": "nothing was heard: is the right microphone chosen, and is it switched on?",
  noisy: "some noise: long notes will be followed less far", "too noisy": "too noisy for a good recording: close windows and doors, switch fans off, and listen again",
  "muted pauses": "the pauses are exact silence: something mutes them (noise suppression of the device or the system); switch it off",
  hum: "a hum of the mains: move away from lamps and chargers",
};
const ON_OFF = { off: "off", on: "on", unknown: "unknown" };
const SAID_OF = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "automatic level" };

function inMinutes(seconds) {
  const whole = Math.round(seconds);
  return whole < 90 ? `${whole} s` : `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, "0")} s`;
}

function render({ model, el }) {
  const store = pieceStore();
  const awake = wakeLock();
  const names = new Map(model.get("keyboard").keys.map((k) => [k.key, k.note]));
  let mic = null;
  let run = null; // the recording that is going on
  let asked = []; // keys that are to be played again, or none for all
  let upload = null;
  let alive = true;

  // the parts of the screen

  const title = make("h3", { class: "pl-recorder-title" });
  const line = make("p", { class: "pl-recorder-line", role: "status" });
  const trouble = make("p", { class: "pl-recorder-trouble", role: "alert" });
  trouble.hidden = true;
  const offers = make("div", { class: "pl-offers" });
  const what = make("select", { class: "pl-field", "aria-label": "What to record", onchange: () => choose([]) });
  const blow = make("select", { class: "pl-field", "aria-label": "How loud" });
  const how = make("p", { class: "pl-soft" });
  const consent = make("input", { type: "checkbox", id: `c${Math.random().toString(36).slice(2)}`, onchange: paint });
  const consented = make("label", { class: "pl-consent", for: consent.id }, consent,
    make("span", { text: "The microphone hears voices in the room as well. Everybody here knows that, and agrees." }));
  const open = button("Open the microphone", openMic, "pl-main");
  const device = make("select", { class: "pl-field", "aria-label": "Microphone", onchange: () => openMic(device.value) });
  const about = make("p", { class: "pl-soft pl-mic-about" });
  const meter = make("i", { class: "pl-meter-fill" });
  const metered = make("div", { class: "pl-meter", role: "img", "aria-label": "Level" }, meter);
  const chord = button("One loud chord (4 s)", () => check("chord", CHORD_S));
  const silence = button("Silence (10 s)", () => check("silence", SILENCE_S));
  const chordSays = make("span", { class: "pl-soft" });
  const silenceSays = make("span", { class: "pl-soft" });
  const anyway = make("input", { type: "checkbox", id: `a${consent.id}`, onchange: paint });
  const worked = make("label", { class: "pl-consent", for: anyway.id }, anyway, make("span", {
    text: "Record all the same. How long notes last, their loudness and the room can't be told from it; pitch and unisons can.",
  }));
  const start = button("Record", begin, "pl-main");
  const setup = make("div", { class: "pl-setup" },
    make("div", { class: "pl-row" }, what, blow), how, consented,
    make("div", { class: "pl-row" }, open, device), about,
    make("div", { class: "pl-row" }, chord, chordSays), make("div", { class: "pl-row" }, silence, silenceSays),
    worked, make("div", { class: "pl-row" }, start));

  const now = make("p", { class: "pl-now", role: "status" });
  const wrong = make("p", { class: "pl-wrong", role: "alert" });
  const pace = paceLight();
  const clock = make("span", { class: "pl-soft pl-clock" });
  const safe = make("span", { class: "pl-soft pl-safe" });
  const pause = button("Pause", () => guide(model.get("playing").paused ? "resume" : "pause"));
  const moves = [pause, button("Back", () => guide("back")), button("Repeat", () => guide("repeat")), button("No sound", () => guide("silent")), button("Leave out", () => guide("leave out"))];
  const stop = button("Stop and keep", end, "pl-main");
  const sleepy = make("p", { class: "pl-soft pl-sleepy" });
  const strip = keyStrip({ names, go: (key) => run && model.send({ do: "guide", what: "go", key }) });
  const legend = make("p", { class: "pl-soft pl-strip-legend", text: "✓ heard   • ringing   ! play again   – no sound   › left out" });
  const going = make("div", { class: "pl-going" }, now, wrong, pace, make("div", { class: "pl-row" }, moves), make("div", { class: "pl-row" }, stop, clock, safe), sleepy);
  const strips = make("div", { class: "pl-strips" }, strip, legend);

  const bar = make("progress", { max: 1, value: 0, "aria-label": "Listening" });
  const barWords = make("span", { class: "pl-soft" });
  const working = make("div", { class: "pl-row" }, bar, barWords, button("Stop", () => model.send({ do: "stop" })));
  const leave = make("div", { class: "pl-leave" });

  const picker = make("input", { type: "file", accept: "audio/*,video/*,.flac,.m4a,.opus,.caf", class: "pl-file", "aria-label": "Sound file", onchange: () => picker.files[0] && sendFile(picker.files[0]) });
  const drop = make("div", { class: "pl-drop", ondragover: (e) => e.preventDefault(), ondrop: dropped },
    make("span", { text: "Or a recording from a phone: drop the file here, or" }), picker);
  const secure = make("details", { class: "pl-soft" }, make("summary", { text: "On a tablet or another computer" }),
    make("p", { text: "Browsers give a microphone to a page from another computer only over https. Make a certificate once, on the computer that runs the notebook, and start the server with it; the tablet asks once whether to trust it." }),
    make("code", { text: 'openssl req -x509 -newkey rsa:2048 -nodes -days 365 -keyout key.pem -out cert.pem -subj "/CN=piano" -addext "subjectAltName=IP:ADDRESS"' }),
    make("code", { text: "jupyter lab --ip=0.0.0.0 --certfile=cert.pem --keyfile=key.pem" }),
    make("p", { text: "ADDRESS is that computer's address in the network. Keep the server's password or token on." }));
  const root = make("section", { class: "pl-recorder", "data-lm-suppress-shortcuts": "true", onkeydown: (e) => e.stopPropagation() },
    title, trouble, line, offers, setup, metered, going, strips, working, leave, drop, secure);

  function button(text, act, extra = "") {
    return make("button", { type: "button", class: `pl-button ${extra}`, onclick: () => act() }, make("span", { text }));
  }
  function say(text, bad = false) {
    setText(bad ? trouble : line, text);
    if (!bad) setText(trouble, "");
    trouble.hidden = !trouble.textContent;
  }

  // the microphone

  async function openMic(id) {
    open.disabled = true;
    try {
      if (mic) await mic.close();
      mic = null;
      mic = await openMicrophone(id);
      mic.track.addEventListener("ended", lost);
      anyway.checked = false;
      mic.listen(level);
      const devices = await inputDevices();
      device.replaceChildren(...devices.map((d) => make("option", { value: d.id, text: d.label })));
      if (mic.deviceId) device.value = mic.deviceId;
      say("");
      tellMic();
    } catch (error) {
      say(noMicrophone(error), true);
    }
    open.disabled = false;
    paint();
  }
  function tellMic() {
    const bad = processed();
    const told = Object.entries(mic.processing).map(([n, v]) => `${SAID_OF[n]} ${ON_OFF[v]}`).join(", ");
    const resampled = mic.reported && mic.reported !== mic.rate ? ` The device says ${mic.reported} Hz: the browser converts the rate.` : "";
    setText(about, `${mic.rate} Hz. The browser says: ${told}.${resampled}`);
    if (bad.length) say(`The browser keeps ${bad.join(" and ")} on although it was asked to leave the sound alone. Switch it off in the system's sound settings, choose another microphone or another browser, or pick a file from a phone's recorder.`, true);
  }
  // What the browser says that it does to the sound although it was asked not to.
  function processed() {
    return Object.entries(mic?.processing || {}).filter(([, v]) => v === "on").map(([n]) => SAID_OF[n]);
  }
  function lost() {
    mic = null;
    if (run) end();
    say("The microphone is gone. What was recorded is kept.", true);
    paint();
  }
  function level(data) {
    let peak = 0;
    for (const channel of data.room) for (let i = 0; i < data.frames; i += 4) peak = Math.max(peak, Math.abs(channel[i]));
    const db = 20 * Math.log10(peak + 1e-9);
    meter.style.width = `${Math.max(0, Math.min(100, (100 * (db + 60)) / 60))}%`;
    meter.dataset.top = peak > 0.99 ? "yes" : "no";
  }
  function check(kind, seconds) {
    if (!mic) return;
    const parts = [];
    const says = kind === "chord" ? chordSays : silenceSays;
    let frames = 0;
    const off = mic.listen((data) => {
      parts.push(packed(data.room, data.frames));
      frames += data.frames;
      setText(says, `${kind === "chord" ? "Play now" : "Keep still"}: ${Math.max(0, Math.ceil(seconds - frames / mic.rate))} s`);
      if (frames < seconds * mic.rate) return;
      off();
      const whole = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
      parts.reduce((at, p) => (whole.set(p, at), at + p.length), 0);
      model.send({ do: kind, rate_hz: mic.rate, channels: mic.channels }, undefined, [whole.buffer]);
    });
  }

  // recording

  function begin() {
    if (!mic || run) return;
    const page = crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random()}`;
    const told = {
      do: "begin", page, rate_hz: mic.rate, channels: mic.channels, device: mic.device, processing: mic.processing,
      what: what.value, blow: blow.value, keys: asked, casebook: model.get("head").casebook, visit: model.get("head").visit,
    };
    run = { page, number: 0, base: null, last: -1, heard: performance.now(), sent: new Map(), ending: false };
    store.begin(told);
    model.send(told);
    awake.hold().then((held) => run && setText(sleepy, held ? "" : "The browser may let the screen go to sleep, and the recording with it: switch sleep off in the system, or touch the screen now and then."));
    // The lock says to other pages that this recording is alive; the browser gives it back when the page is gone.
    const own = run;
    navigator.locks?.request(`pianolab ${page}`, () => new Promise((free) => (own.free = free)));
    run.off = mic.listen((data) => piece(run, data));
    paint();
  }
  function piece(own, data) {
    if (own.base === null) own.base = data.first;
    const bytes = packed(data.room, data.frames);
    const made = { page: own.page, number: own.number, first_frame: data.first - own.base, clock_ms: data.clock, bytes: bytes.buffer };
    own.number += 1;
    store.put(made);
    send(own, made);
  }
  function send(own, made) {
    own.sent.set(made.number, performance.now());
    const { bytes, ...words } = made;
    model.send({ do: "piece", ...words }, undefined, [bytes.slice(0)]);
  }
  function end() {
    if (!run || run.ending) return;
    run.off();
    run.ending = true;
    askEnd();
    paint();
  }
  function askEnd(without = false) {
    if (run) model.send({ do: "end", page: run.page, count: run.number, without });
  }
  function guide(move) {
    model.send({ do: "guide", what: move });
  }
  // What is not confirmed although later pieces are is sent again. Where no answer comes at all, a few pieces ask for one:
  // a notebook that is only slow must not get more to do. What is not confirmed stays in the browser.
  const again = setInterval(async () => {
    if (!run) return;
    const late = performance.now() - RESEND_MS;
    const waiting = await store.waiting(run.page, 200);
    const lost = (made) => made.number < run.last || run.heard < late;
    const most = run.heard < late ? PROBES : AT_ONCE;
    waiting.filter((made) => lost(made) && (run.sent.get(made.number) ?? 0) < late).slice(0, most).forEach((made) => send(run, made));
    if (run.ending && !waiting.length) askEnd();
    const oldest = waiting.length ? (run.number - waiting[0].number) * PIECE_S : 0;
    setText(safe, oldest > 4 ? `The notebook does not answer: the last ${inMinutes(oldest)} are kept in this browser, and are sent when it does.${oldest > 60 ? " If it stays so, load this page again: what was recorded is offered then." : ""}` : "Everything is on the disk.");
  }, 1000);

  // A recording that a closed page or a dead kernel cut off: what this browser still holds of it goes to Python. What
  // another page is recording, and what belongs to another casebook, stays where it is.
  async function bringBack(known, on) {
    const held = navigator.locks ? (await navigator.locks.query()).held.map((lock) => lock.name) : [];
    const alone = (page) => !held.includes(`pianolab ${page}`);
    if (on && !run && navigator.locks && alone(on)) {
      model.send({ do: "cut", page: on });
      on = "";
    }
    for (const told of await store.abouts()) {
      const own = known.includes(told.page) || told.casebook === model.get("head").casebook;
      if (told.page === on || told.page === run?.page || !own || !alone(told.page)) continue;
      const pieces = await store.waiting(told.page, 100000);
      if (!pieces.length || !alive) {
        await store.forget(told.page);
        continue;
      }
      rest.set(told.page, { left: new Set(pieces.map((p) => p.number)), told });
      for (const made of pieces) {
        const { bytes, ...words } = made;
        model.send({ do: "piece", ...words, about: known.includes(told.page) ? undefined : told }, undefined, [bytes.slice(0)]);
      }
    }
  }
  const rest = new Map();

  function receive(message) {
    if (message.says === "known") bringBack(message.pages, message.on);
    if (message.says === "have") {
      store.confirmed(message.page, message.numbers);
      if (run?.page === message.page) {
        run.last = Math.max(run.last, ...message.numbers);
        run.heard = performance.now();
        for (const n of message.numbers) run.sent.delete(n);
      }
      const other = rest.get(message.page);
      if (other) {
        for (const n of message.numbers) other.left.delete(n);
        if (!other.left.size) {
          rest.delete(message.page);
          store.forget(message.page);
          model.send({ do: "rest", page: message.page });
        }
      }
    }
    if (message.says === "missing" && run?.page === message.page) {
      store.waiting(run.page, 100000).then((here) => {
        const held = new Set(here.map((p) => p.number));
        for (const made of here) if (message.numbers.includes(made.number)) send(run, made);
        askEnd(!message.numbers.some((n) => held.has(n)));
      });
    }
    if (message.says === "ended" && run?.page === message.page) {
      store.forget(run.page);
      run.free?.();
      run = null;
      asked = [];
      awake.release();
      paint();
    }
    if (message.says === "more" && upload) sendPart(message.offset);
    if (message.says === "trouble" && message.do === "begin" && run) {
      run.off();
      run.free?.();
      store.forget(run.page);
      run = null;
      awake.release();
      paint();
    }
    if (message.says === "trouble" && message.do === "file") upload = null;
  }

  // a file instead

  function dropped(event) {
    event.preventDefault();
    const file = event.dataTransfer?.files?.[0];
    if (file) sendFile(file);
  }
  function sendFile(file) {
    upload = file;
    sendPart(0);
  }
  async function sendPart(offset) {
    const file = upload;
    if (!file) return;
    setText(line, `Reading ${file.name}: ${Math.round((100 * offset) / Math.max(1, file.size))} %`);
    const bytes = await file.slice(offset, offset + FILE_PIECE).arrayBuffer();
    model.send({ do: "file", name: file.name, size: file.size, offset, what: what.value, blow: blow.value, keys: asked }, undefined, [bytes]);
    if (offset + bytes.byteLength >= file.size) {
      upload = null;
      picker.value = "";
    }
  }

  // what Python says

  function choose(keys) {
    asked = keys;
    const found = model.get("head").choices.find((c) => c.id === what.value);
    const some = keys.length ? ` Only ${keys.map((k) => names.get(k)).join(", ")}.` : "";
    setText(how, `${found.how}${some} About ${inMinutes(keys.length ? keys.length * 3 : found.seconds)}.`);
  }
  function showHead() {
    const head = model.get("head");
    setText(title, `Recording: ${head.piano}, ${head.day}`);
    names.clear();
    for (const k of model.get("keyboard").keys) names.set(k.key, k.note);
    const kept = what.value;
    what.replaceChildren(...head.choices.map((c) => make("option", { value: c.id, text: c.title })));
    if (head.choices.some((c) => c.id === kept)) what.value = kept;
    blow.replaceChildren(...head.blows.map((b) => make("option", { value: b.id, text: b.title })));
    choose([]);
  }
  function showOffers() {
    offers.replaceChildren(...model.get("offered").map((o) => {
      const words = `${o.going_on ? "Perhaps still being recorded in another tab" : "A recording was cut off"}: ${inMinutes(o.seconds)}, begun ${o.begun.replace("T", " ").slice(0, 16)} (${o.where}).`;
      let sure = false;
      const away = button("Throw it away", () => {
        if (sure) return model.send({ do: "discard", id: o.id });
        sure = true;
        setText(away.firstChild, "Really throw it away");
        return undefined;
      });
      return make("div", { class: "pl-offer" }, sign("caution"), make("span", { text: words }), button("Keep it", () => model.send({ do: "keep", id: o.id }), "pl-main"), away);
    }));
  }
  function showChecks() {
    const { chord: c, silence: s } = model.get("checks");
    if (c) setText(chordSays, VERDICTS[c.verdict]);
    if (s) setText(silenceSays, `${VERDICTS[s.verdict]}${s.over_noise_db === null ? "" : ` (the chord stands ${Math.round(s.over_noise_db)} dB over it)`}`);
    for (const [node, found] of [[chordSays, c], [silenceSays, s]]) node.dataset.usable = found ? String(found.usable) : "";
  }
  function showPlaying() {
    const view = model.get("playing");
    strips.hidden = !view.keys;
    strip.show(view);
    if (!view.on) return;
    pace.hidden = !view.keys;
    pace.show(view);
    for (const move of moves) move.hidden = !view.keys;
    const ask = view.key === undefined ? (view.keys ? "All keys are done. Stop and keep." : view.how) : `Play ${view.note}`;
    setText(now, view.paused ? "Paused: nothing is asked for. The recording goes on." : ask);
    setText(wrong, view.wrong && view.note ? `That was ${view.wrong}. Play ${view.note}.` : "");
    setText(pause.firstChild, view.paused ? "Go on" : "Pause");
    setText(clock, `${inMinutes(view.seconds)} recorded${view.left_s ? `, about ${inMinutes(view.left_s)} to go` : ""}`);
  }
  function showWork() {
    const work = model.get("work");
    working.hidden = !work.what;
    bar.value = work.share || 0;
    setText(barWords, work.what || "");
  }
  function showLeave() {
    const list = model.get("leaving");
    if (!list.parts) return leave.replaceChildren();
    const parts = list.parts.map((p) => make("li", {}, make("span", { text: p.text }), make("b", { text: ` ${p.keys.map((k) => k.note).join(", ")}` })));
    const warnings = (list.warnings || []).map((text) => make("li", { text }));
    const head = list.parts.length ? `Before you leave: ${list.keys.length} keys once more, about ${inMinutes(list.seconds)}.` : "Nothing has to be played again.";
    return leave.replaceChildren(
      make("h4", { text: head }), make("ul", {}, parts), warnings.length ? make("ul", { class: "pl-soft" }, warnings) : null,
      list.keys.length ? button("Play these again", () => replay(list.keys), "pl-main") : null,
    );
  }
  function replay(keys) {
    what.value = "all";
    choose(keys);
    setup.scrollIntoView({ block: "nearest" });
  }
  function paint() {
    setup.hidden = drop.hidden = secure.hidden = Boolean(run);
    going.hidden = !run;
    if (run?.ending) setText(now, "Keeping the last pieces");
    open.disabled = !consent.checked;
    open.hidden = Boolean(mic);
    device.hidden = metered.hidden = about.hidden = !mic;
    worked.hidden = !processed().length;
    for (const node of [chord, silence]) node.disabled = !mic || !consent.checked;
    start.disabled = !mic || !consent.checked || (processed().length > 0 && !anyway.checked);
  }
  const seen = {
    "change:head": showHead, "change:keyboard": showHead, "change:offered": showOffers, "change:checks": showChecks, "change:playing": showPlaying,
    "change:work": showWork, "change:leaving": showLeave, "change:line": () => say(model.get("line")), "msg:custom": receive,
  };
  for (const [name, act] of Object.entries(seen)) model.on(name, act);
  for (const name of ["head", "offered", "checks", "playing", "work", "leaving", "line"]) seen[`change:${name}`]();
  paint();
  el.append(root);
  model.send({ do: "hello" });
  return () => {
    alive = false;
    clearInterval(again);
    pace.end();
    awake.end();
    run?.off();
    run?.free?.();
    mic?.close();
    for (const [name, act] of Object.entries(seen)) model.off(name, act);
  };
}

export default { render };
