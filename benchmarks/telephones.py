"""What recorders do to a take: codecs, band limits, automatic gain, gates, clipping, wrong speed, holes.

`CHAINS` holds every one by name, a function of a take and a seed, those of `benchmarks.disturbances` among them.
The truth stays the piano's, with three exceptions:

- wrong speed: nothing in a recording tells a fast recorder from a sharp piano, so pitch and times in the truth are
  what the recording holds (cents 17.2 higher, times 1 % shorter);
- bands without their low end: the level of the whole note is another one there, so `knows` loses decay;
- codecs set ``asked["lossy"]``, as reading such a file does.

A gain that moves, a gate, clipping and wander leave the truth alone: whoever measures such a take must be right, say
less, or warn.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import chain as joined
from math import gcd
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from benchmarks.disturbances import CHAINS as DISTURBANCES
from benchmarks.disturbances import Chain, changed
from benchmarks.takes import Sound, Take

Floats = NDArray[np.float64]
REFUSED = frozenset({"8 kHz rate"})
"""Chains after which `listen` has to refuse the take."""

OPUS_RATE_HZ = 48000


def _sampled_at(samples: Sound, rate_hz: int, wanted_hz: int) -> Sound:
    common = gcd(rate_hz, wanted_hz)
    new = signal.resample_poly(
        samples, wanted_hz // common, rate_hz // common, axis=0, window=("kaiser", 9.0)
    )
    return np.asarray(new, np.float32)


def coded(take: Take, *, what: str, codec: str, container: str, bits_per_s: int) -> Take:
    """Encoded and decoded in memory; what the codec delays is taken back, so that onsets stay."""
    rate_hz = OPUS_RATE_HZ if codec == "libopus" else take.rate_hz
    before = _sampled_at(take.samples, take.rate_hz, rate_hz)
    flat = before.ndim == 1
    before = before[:, None] if flat else before
    after = _decoded(_encoded(before, rate_hz, codec, container, bits_per_s), channels=before.shape[1])
    after = _shifted(after, delay_frames(before, after, rate_hz), len(before))
    asked = {**take.asked, "lossy": True}
    return changed(take, after[:, 0] if flat else after, what, rate_hz=rate_hz, asked=asked)


def _encoded(samples: Sound, rate_hz: int, codec: str, container: str, bits_per_s: int) -> bytes:
    file = io.BytesIO()
    layout = {1: "mono", 2: "stereo"}[samples.shape[1]]
    with av.open(file, "w", format=container) as out:
        # Left to itself Opus spends half as much again on tones.
        options = {"vbr": "off"} if codec == "libopus" else {}
        stream: Any = out.add_stream(codec, rate=rate_hz, layout=layout, options=options)
        stream.bit_rate = bits_per_s
        planar = "fltp" if codec == "aac" else "flt"
        for at in range(0, len(samples), rate_hz):
            piece = np.ascontiguousarray(samples[at : at + rate_hz])
            data = np.ascontiguousarray(piece.T) if planar == "fltp" else piece.reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(data, format=planar, layout=layout)
            frame.sample_rate, frame.pts = rate_hz, at
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return file.getvalue()


def _decoded(data: bytes, *, channels: int) -> Sound:
    with av.open(io.BytesIO(data), "r") as file:
        pieces = [frame.to_ndarray() for frame in file.decode(audio=0)]
    flat = [p.T if p.shape[0] == channels else p.reshape(-1, channels) for p in pieces]
    return np.concatenate(flat).astype(np.float32)


def delay_frames(before: Sound, after: Sound, rate_hz: int) -> int:
    """Frames by which ``after`` comes late (within 0.2 s), by the highest cross-correlation of up to 30 s."""
    size = min(len(before), len(after), 30 * rate_hz)
    a, b = before[:size].sum(axis=1), after[:size].sum(axis=1)
    n = fft.next_fast_len(2 * size, real=True)
    match = fft.irfft(fft.rfft(b, n) * np.conj(fft.rfft(a, n)), n)
    most = round(0.2 * rate_hz)
    late = np.concatenate([match[-most:], match[: most + 1]])
    return int(np.argmax(late)) - most


def _shifted(samples: Sound, late: int, frames: int) -> Sound:
    """``late`` frames earlier; at either end zeros where nothing is left."""
    out = np.zeros((frames, samples.shape[1]), np.float32)
    piece = samples[max(0, late) :]
    start = max(0, -late)
    piece = piece[: frames - start]
    out[start : start + len(piece)] = piece
    return out


def in_band(take: Take, *, what: str, low_hz: float = 0.0, high_hz: float = np.inf) -> Take:
    """Only what lies between two frequencies, by Butterworth filters of 8th order (48 dB an octave)."""
    out: Any = take.samples
    if low_hz > 0:
        out = signal.sosfilt(signal.butter(8, low_hz, "highpass", fs=take.rate_hz, output="sos"), out, axis=0)
    if high_hz < take.rate_hz / 2:
        out = signal.sosfilt(signal.butter(8, high_hz, "lowpass", fs=take.rate_hz, output="sos"), out, axis=0)
    return changed(take, out, what, knows=take.knows - ({"decay"} if low_hz > 0 else set()))


def _level(samples: Sound, block: int) -> Floats:
    """Root mean square of each block, over all channels."""
    count = len(samples) // block
    power = np.square(samples[: count * block], dtype=np.float64).reshape(count, -1)
    return np.asarray(np.sqrt(power.mean(axis=1)))


def _gained(samples: Sound, gain: Floats, block: int) -> Floats:
    """Each block at its gain, straight lines in between; a gain is reached at the beginning of its block."""
    all_gains = np.interp(np.arange(len(samples)), np.arange(gain.size) * block, gain)
    return np.asarray(samples * (all_gains[:, None] if samples.ndim == 2 else all_gains))


def automatic_gain(
    take: Take,
    *,
    what: str,
    release_s: float,
    most_db: float = 30.0,
) -> Take:
    """The loudest level of late goes to -15 dB of full scale: down within 10 ms, up with ``release_s``."""
    block = round(0.005 * take.rate_hz)
    level = _level(take.samples, block)
    attack, release = np.exp(-0.005 / 0.010), np.exp(-0.005 / release_s)
    followed = np.empty(level.size)
    now = float(level.max())
    for i, x in enumerate(level.tolist()):
        keep = attack if x > now else release
        now = keep * now + (1 - keep) * x
        followed[i] = now
    gain = np.minimum(10 ** (-15 / 20) / np.maximum(followed, 1e-9), 10 ** (most_db / 20))
    return changed(take, np.clip(_gained(take.samples, gain, block), -1, 1), what)


def gate(take: Take, *, what: str, under_db: float = 35.0, close_s: float = 0.05) -> Take:
    """Shut, to nothing at all, within ``close_s`` where the level lies ``under_db`` below the loudest."""
    block = round(0.001 * take.rate_hz)
    level = np.sqrt(ndimage.uniform_filter1d(_level(take.samples, block) ** 2, 10))
    is_open = level > level.max() * 10 ** (-under_db / 20)
    last_open = np.maximum.accumulate(np.where(is_open, np.arange(level.size), -(10**9)))
    gain = np.clip(1 - (np.arange(level.size) - last_open) * 0.001 / close_s, 0, 1)
    return changed(take, _gained(take.samples, gain, block), what)


def clipped(take: Take, *, what: str, by_db: float) -> Take:
    """So loud that the highest peak would reach ``by_db`` over full scale, and cut there."""
    loud = take.samples * (10 ** (by_db / 20) / np.abs(take.samples).max())
    return changed(take, np.clip(loud, -1, 1), what)


def soft_clipped(take: Take, *, what: str, by_db: float = 6.0) -> Take:
    """The same through a hyperbolic tangent."""
    loud = take.samples * (10 ** (by_db / 20) / np.abs(take.samples).max())
    return changed(take, np.tanh(loud), what)


def faster(take: Take, *, what: str, percent: int = 1) -> Take:
    """Played back ``percent`` too fast; pitch and times in the truth go with it (see the module)."""
    ratio = 1 + percent / 100
    out = signal.resample_poly(take.samples, 100, 100 + percent, axis=0, window=("kaiser", 9.0))
    truth = take.truth.copy()
    truth["f1_hz"] *= ratio
    truth["cents"] += 1200 * np.log2(ratio)
    truth["decay_20_s"] /= ratio
    presses = tuple(
        replace(p, onset_s=p.onset_s / ratio, release_s=p.release_s / ratio) for p in take.presses
    )
    t60_s = None if take.t60_s is None else take.t60_s / ratio
    return changed(take, out, what, truth=truth, presses=presses, t60_s=t60_s)


def wandering(take: Take, seed: int, *, what: str, depth: float = 0.003) -> Take:
    """Speed that sways by ``depth`` (share of the speed, at most) 0.5 to 1 times a second."""
    rng = np.random.default_rng([seed, 41])
    t = np.arange(len(take.samples)) / take.rate_hz
    knots = np.arange(0, t[-1] + 5.0, 5.0)
    turns = np.cumsum(np.interp(t, knots, rng.uniform(0.5, 1.0, knots.size))) / take.rate_hz
    speed = 1 + depth * np.sin(2 * np.pi * (turns + rng.uniform()))
    place = np.cumsum(speed) - speed[0]
    place -= np.mean(place - np.arange(place.size))
    columns = take.samples.reshape(len(take.samples), -1).T
    # Splines of 5th order on twice the rate: what they bend lies under the noise up to a third of the rate.
    moved = [
        ndimage.map_coordinates(signal.resample_poly(c, 2, 1), [2 * place], order=5, mode="nearest")
        for c in columns
    ]
    return changed(take, np.stack(moved, axis=1).reshape(take.samples.shape), what)


def drop_outs(take: Take, seed: int, *, what: str, count: int = 10, each_s: float = 0.04) -> Take:
    """``count`` holes of ``each_s`` to zero, anywhere."""
    out = take.samples.copy()
    size = round(each_s * take.rate_hz)
    rng = np.random.default_rng([seed, 42])
    slots = rng.choice(len(out) // (2 * size), size=count, replace=False)
    for at in slots * 2 * size + rng.integers(0, size, count):
        out[at : at + size] = 0
    return changed(take, out, what)


def at_rate(take: Take, *, what: str, rate_hz: int) -> Take:
    """Recorded at another rate."""
    return changed(take, _sampled_at(take.samples, take.rate_hz, rate_hz), what, rate_hz=rate_hz)


def _steady(name: str, function: Callable[..., Take], **how: Any) -> tuple[str, Chain]:
    """An entry of `CHAINS` that leaves nothing to chance."""
    return name, lambda take, seed: function(take, what=name, **how)  # noqa: ARG005


def _drawn(name: str, function: Callable[..., Take], **how: Any) -> tuple[str, Chain]:
    """An entry that draws by the seed."""
    return name, partial(function, what=name, **how)


AAC = {"codec": "aac", "container": "mp4", "bits_per_s": 64000}
OPUS = {"codec": "libopus", "container": "ogg"}

RECORDERS: dict[str, Chain] = dict(
    (
        _steady("AAC 64k", coded, **AAC),
        _steady("Opus 32k", coded, bits_per_s=32000, **OPUS),
        _steady("Opus 16k", coded, bits_per_s=16000, **OPUS),
        _steady("300-3400 Hz", in_band, low_hz=300.0, high_hz=3400.0),
        _steady("high-pass 200 Hz", in_band, low_hz=200.0),
        _steady("low-pass 8 kHz", in_band, high_hz=8000.0),
        _steady("automatic gain 2 s", automatic_gain, release_s=2.0),
        _steady("automatic gain 0.2 s", automatic_gain, release_s=0.2),
        _steady("noise gate", gate),
        _steady("clipped 3 dB", clipped, by_db=3.0),
        _steady("clipped 6 dB", clipped, by_db=6.0),
        _steady("clipped 12 dB", clipped, by_db=12.0),
        _steady("soft clipping", soft_clipped),
        _steady("speed 1 %", faster),
        _drawn("wander 0.3 %", wandering),
        _drawn("drop-outs", drop_outs),
        _steady("16 kHz rate", at_rate, rate_hz=16000),
        _steady("8 kHz rate", at_rate, rate_hz=8000),
    )
)
CHAINS: dict[str, Chain] = dict(joined(RECORDERS.items(), DISTURBANCES.items()))
"""Name to a function of a take and a seed."""
