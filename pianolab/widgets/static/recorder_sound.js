// The microphone as it is: nothing worked on, raw samples from an audio worklet, in pieces with their place in the sound.

const PIECE_S = 0.25;
const SETTLE_S = 0.15; // the first moments of a device are not yet sound
const PROCESSING = ["echoCancellation", "noiseSuppression", "autoGainControl"];

const WORKLET = `
class PianolabTap extends AudioWorkletProcessor {
  constructor(options) {
    super();
    this.length = options.processorOptions.length;
    this.channels = options.processorOptions.channels;
    this.fresh();
  }
  fresh() {
    this.room = Array.from({ length: this.channels }, () => new Float32Array(this.length));
    this.filled = 0;
    this.first = null;
    this.late = Infinity;
  }
  send() {
    // When this piece was complete, by the wall clock at the least delay: sound that the browser leaves out shows in it.
    const clock = this.late + (1000 * (this.first + this.filled)) / sampleRate;
    this.port.postMessage({ first: this.first, room: this.room, frames: this.filled, clock }, this.room.map((r) => r.buffer));
    this.fresh();
  }
  process(inputs) {
    const input = inputs[0];
    if (!input.length) return true;
    const frames = input[0].length;
    // A frame counter that jumps means that the browser left something out: the piece ends here.
    if (this.first !== null && currentFrame !== this.first + this.filled) this.send();
    if (this.first === null) this.first = currentFrame;
    const late = Date.now() - (1000 * currentFrame) / sampleRate;
    this.late = Math.min(this.late, late);
    let at = 0;
    while (at < frames) {
      const some = Math.min(frames - at, this.length - this.filled);
      for (let c = 0; c < this.channels; c += 1)
        this.room[c].set((input[c] || input[0]).subarray(at, at + some), this.filled);
      this.filled += some;
      at += some;
      if (this.filled === this.length) {
        const next = this.first + this.filled;
        this.send();
        this.first = at < frames ? next : null;
        this.late = at < frames ? late : Infinity;
      }
    }
    return true;
  }
}
registerProcessor("pianolab-tap", PianolabTap);
`;

const NO_MICROPHONE = {
  NotAllowedError: "The browser may not use the microphone. Allow it in the address bar (a small lock or microphone), and in the system's settings for the browser; then try again.",
  NotFoundError: "No microphone is there. Plug one in, or record with a phone and pick the file below.",
  NotReadableError: "The microphone is there but gives no sound: another program may be using it. Close that program and try again.",
  OverconstrainedError: "The microphone that was chosen is gone. Choose another one.",
  SecurityError: "This page may not use a microphone: the page it is shown in forbids it.",
  insecure: "Browsers give a microphone only to pages on this computer (localhost) or over https, and this page is neither. Open it on the computer that runs it; or start the server with a certificate (below); or record with a phone and pick the file.",
  old: "This browser can't record raw sound. A current version of any usual browser can.",
};

function noMicrophone(error) {
  return NO_MICROPHONE[error.name] || NO_MICROPHONE[error.message] || `The microphone can't be used: ${error.message}`;
}

// 24 bits, little end first, channels side by side; what goes beyond full scale is cut, as a sound card would.
function packed(room, frames) {
  const bytes = new Uint8Array(3 * frames * room.length);
  let at = 0;
  for (let i = 0; i < frames; i += 1)
    for (const channel of room) {
      const value = Math.max(-8388608, Math.min(8388607, Math.round(channel[i] * 8388608)));
      bytes[at] = value & 255;
      bytes[at + 1] = (value >> 8) & 255;
      bytes[at + 2] = (value >> 16) & 255;
      at += 3;
    }
  return bytes;
}

async function openMicrophone(deviceId) {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) throw new Error("insecure");
  if (!window.AudioWorkletNode) throw new Error("old");
  const wanted = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: 1 } };
  if (deviceId) wanted.deviceId = { exact: deviceId };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: wanted, video: false });
  const track = stream.getAudioTracks()[0];
  const settings = track.getSettings ? track.getSettings() : {};
  let context = new AudioContext({ latencyHint: "playback" });
  // A context at the device's own rate doesn't resample; the rate that counts is what the context then says.
  if (settings.sampleRate && settings.sampleRate !== context.sampleRate) {
    await context.close();
    context = new AudioContext({ latencyHint: "playback", sampleRate: settings.sampleRate });
  }
  const address = URL.createObjectURL(new Blob([WORKLET], { type: "text/javascript" }));
  try {
    await context.audioWorklet.addModule(address);
  } finally {
    URL.revokeObjectURL(address);
  }
  const channels = Math.max(1, Math.min(2, settings.channelCount || 1));
  const tap = new AudioWorkletNode(context, "pianolab-tap", {
    numberOfInputs: 1, numberOfOutputs: 0, channelCount: channels, channelCountMode: "explicit", channelInterpretation: "discrete",
    processorOptions: { length: Math.round(PIECE_S * context.sampleRate), channels },
  });
  const source = context.createMediaStreamSource(stream);
  source.connect(tap);
  const processing = Object.fromEntries(PROCESSING.map((name) => [name, settings[name] === undefined ? "unknown" : settings[name] ? "on" : "off"]));
  const taps = new Set();
  const start = context.currentTime + SETTLE_S;
  tap.port.onmessage = ({ data }) => {
    if (data.first / context.sampleRate < start) return;
    for (const each of [...taps]) each(data);
  };
  await context.resume();
  return {
    context, track, channels, processing, rate: context.sampleRate, device: track.label || "", reported: settings.sampleRate,
    deviceId: settings.deviceId,
    listen(each) {
      taps.add(each);
      return () => taps.delete(each);
    },
    close() {
      taps.clear();
      track.stop();
      source.disconnect();
      tap.port.onmessage = null;
      return context.close();
    },
  };
}

async function inputDevices() {
  const all = (await navigator.mediaDevices?.enumerateDevices?.()) || [];
  return all.filter((d) => d.kind === "audioinput").map((d, i) => ({ id: d.deviceId, label: d.label || `Microphone ${i + 1}` }));
}

// The screen stays awake while recording; asked again when the page comes back to the front. `hold` tells whether it does.
function wakeLock() {
  let lock = null;
  let wanted = false;
  async function ask() {
    if (!wanted || document.visibilityState !== "visible" || !navigator.wakeLock) return Boolean(lock);
    try {
      lock = await navigator.wakeLock.request("screen");
    } catch {
      lock = null;
    }
    return Boolean(lock);
  }
  document.addEventListener("visibilitychange", ask);
  return {
    hold() {
      wanted = true;
      return ask();
    },
    release() {
      wanted = false;
      lock?.release?.();
      lock = null;
    },
    end() {
      this.release();
      document.removeEventListener("visibilitychange", ask);
    },
  };
}
