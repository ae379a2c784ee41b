"""The sounds of the demonstration, kept as data: modelled pianos by their condition."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from pianolab.errors import BadInput
from pianolab.shipped import shipped
from pianolab.sound_model.piano import KeyFault, PianoModel
from pianolab.sound_model.room import RecordingRoom, room
from pianolab.sound_model.scale import ModelledScale, render_scale

SOUNDS_FILE = "datasets/scenario/sounds.toml"
Entry = dict[str, Any]
RECORDING = {"room", "snr_db", "hold_s", "gap_s", "seed", "rate_hz", "skipped", "repeated"}


@dataclass(frozen=True, kw_only=True)
class SceneSound:
    """One recording of the demonstration before it is rendered: the piano, the room, how it is played."""

    name: str
    description: str
    model: PianoModel
    room: RecordingRoom | None
    snr_db: float = 45.0
    hold_s: float = 2.0
    gap_s: float = 0.5
    seed: int = 1
    rate_hz: int = 44100
    skipped: tuple[int, ...] = ()
    repeated: tuple[int, ...] = ()
    fault_keys: dict[str, tuple[int, ...]] = field(default_factory=dict)


def load_scene_sounds(*, text: str | None = None, seed_shift: int = 0) -> dict[str, SceneSound]:
    """The recordings of the demonstration by their condition.

    Parameters
    ----------
    text : TOML, instead of the file that comes with pianolab
    seed_shift : added to all seeds; the same conditions in other pianos

    Returns
    -------
    dict, condition -> SceneSound

    Raises
    ------
    BadInput : a fault without keys, a condition that starts from an unknown one, a value no piano has

    Examples
    --------
    >>> scenes = load_scene_sounds()
    >>> scenes["worn but honest"].fault_keys["silent"]
    (43,)
    """
    entries = tomllib.loads(shipped(SOUNDS_FILE).read_text(encoding="utf-8") if text is None else text)
    return {name: _scene(name, _whole(name, entries), seed_shift=seed_shift) for name in entries}


def render_scene(scene: SceneSound) -> ModelledScale:
    """Play and record one of the demonstration's pianos; see `render_scale`.

    Parameters
    ----------
    scene : the piano, its room and how it is played

    Returns
    -------
    ModelledScale
    """
    return render_scale(
        scene.model,
        hold_s=scene.hold_s,
        gap_s=scene.gap_s,
        rate_hz=scene.rate_hz,
        room=scene.room,
        snr_db=scene.snr_db,
        skipped=scene.skipped,
        repeated=scene.repeated,
        seed=scene.seed,
    )


def _whole(name: str, entries: dict[str, Entry]) -> Entry:
    """An entry with what it takes over from the condition it starts from."""
    entry = entries[name]
    if "as" not in entry:
        return entry
    if entry["as"] not in entries or entry["as"] == name:
        raise BadInput(f"as of {name!r}", repr(entry["as"]), "the name of another condition in the file")
    base = _whole(entry["as"], {k: v for k, v in entries.items() if k != name})
    mended = entry.get("mended", [])
    kept = [f for f in base.get("faults", []) if f["kind"] not in mended]
    return {
        "description": entry.get("description", base["description"]),
        "piano": {**base["piano"], **entry.get("piano", {})},
        "recording": {**base["recording"], **entry.get("recording", {})},
        "faults": kept + entry.get("faults", []),
    }


def _scene(name: str, entry: Entry, *, seed_shift: int) -> SceneSound:
    for part in ("description", "piano", "recording"):
        if part not in entry:
            raise BadInput(f"condition {name!r}", f"no {part}", "description, piano and recording")
    _check_names(f"piano of {name!r}", entry["piano"], {f.name for f in fields(PianoModel)} - {"faults"})
    _check_names(f"recording of {name!r}", entry["recording"], RECORDING)
    model = PianoModel(**entry["piano"])
    model = replace(model, seed=model.seed + seed_shift)
    faults = tuple(f for rule in entry.get("faults", []) for f in _faults(rule, seed=model.seed))
    model = replace(model, faults=faults)
    recording = dict(entry["recording"])
    recording["seed"] = recording.get("seed", 1) + seed_shift
    place = room(recording.pop("room", "home"))
    kinds = dict.fromkeys(f.kind for f in faults)
    keys = {str(kind): tuple(sorted(f.key for f in faults if f.kind == kind)) for kind in kinds}
    return SceneSound(
        name=name, description=entry["description"], model=model, room=place, fault_keys=keys, **recording
    )


def _check_names(what: str, given: Entry, known: set[str]) -> None:
    unknown = sorted(set(given) - known)
    if unknown:
        raise BadInput(what, ", ".join(unknown), "only " + ", ".join(sorted(known)))


def _faults(rule: Entry, *, seed: int) -> list[KeyFault]:
    """The faults of one rule, a fault for each of its keys; amounts from a range are drawn by key."""
    extra = {k: v for k, v in rule.items() if k not in ("kind", "keys", "amount")}
    amount = rule.get("amount")
    kind_number = sum(map(ord, rule["kind"]))
    return [
        KeyFault(
            key=key,
            kind=rule["kind"],
            amount=float(np.random.default_rng([seed, key + 1000, kind_number]).uniform(*amount))
            if isinstance(amount, list)
            else amount,
            **extra,
        )
        for key in _keys(rule)
    ]


def _keys(rule: Entry) -> list[int]:
    keys: list[int] = []
    for part in rule.get("keys", []):
        first, _, last = str(part).partition("-")
        if not (first.isdigit() and (last.isdigit() or not last)):
            raise BadInput(f"keys of {rule.get('kind')}", repr(part), "a key number or a range such as 52-75")
        keys += range(int(first), int(last or first) + 1)
    if not keys:
        raise BadInput(f"keys of {rule.get('kind')}", "none", "at least one key number")
    return keys
