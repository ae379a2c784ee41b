"""What can be recorded at the piano: which keys, how they are struck, or one of the short recordings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from pianolab.acoustics.live.guide import register_keys, time_needed_s
from pianolab.casebook.arriving import About
from pianolab.errors import BadInput
from pianolab.keyboard import REGISTERS, note_name
from pianolab.model import Piano, RecordingPurpose

BLOWS = {"usual": "As you usually play", "soft": "Softly", "loud": "Loudly"}
SHORT_S = 25.0
PROCESSING = ("echoCancellation", "noiseSuppression", "autoGainControl")
STATES = ("off", "on", "unknown")


@dataclass(frozen=True)
class Choice:
    """One thing to record: what a button calls it, which keys are asked for (none for a short one), and how to do it."""

    id: str
    title: str
    purpose: RecordingPurpose
    keys: tuple[int, ...]
    how: str

    @property
    def seconds(self) -> float:
        """About how long it takes."""
        return time_needed_s(self.keys) if self.keys else SHORT_S

    def view(self) -> dict[str, Any]:
        """What the screen lists of it."""
        keys = len(self.keys)
        return {"id": self.id, "title": self.title, "how": self.how, "seconds": self.seconds, "keys": keys}


SHORT: tuple[tuple[RecordingPurpose, str, str], ...] = (
    (
        "damper pedal",
        "Damper pedal",
        "Play a loud chord and let go with the pedal down. Let it ring, lift the foot, wait. Then, without playing, press the "
        "pedal down and lift it three times: the felts should leave and meet the strings without a noise.",
    ),
    (
        "repeated note",
        "One note, fast",
        "Take a key in the middle and strike it as fast as you can for five seconds, then as softly as it will still speak. "
        "Do the same an octave lower and higher.",
    ),
    (
        "held chord",
        "A chord held",
        "Play one full chord, hold it until it can't be heard any more, and don't move.",
    ),
    (
        "hand clap",
        "A hand clap for the room",
        "Stand where the player sits and clap your hands once, loudly. Wait three seconds. Clap five times in all.",
    ),
)


def choices(piano: Piano) -> tuple[Choice, ...]:
    """Everything that can be recorded of a piano, every key first.

    Examples
    --------
    >>> [c.id for c in choices(Piano(name="upstairs"))][:3]
    ['all', 'bass', 'tenor']
    """

    def scale(name: str, title: str, purpose: RecordingPurpose = "take", register: str = "all") -> Choice:
        keys = register_keys(register, first_key=piano.first_key, last_key=piano.last_key)
        held = " Hold the left pedal down all the while." if purpose == "left pedal" else ""
        span = f"{note_name(keys[0])} to {note_name(keys[-1])}"
        how = f"One key after another, {span}: strike, hold, let go, wait a moment.{held}"
        return Choice(name, title, purpose, keys, how)

    registers = [scale(r.name, f"Only the {r.name}", register=r.name) for r in REGISTERS]
    left = scale("left pedal", "Every key with the left pedal", "left pedal")
    short = [Choice(purpose, title, purpose, (), how) for purpose, title, how in SHORT]
    return (scale("all", "Every key"), *registers, left, *short)


def choice_of(piano: Piano, name: object, keys: object = None) -> Choice:
    """The choice of that name; with ``keys`` only these keys, in rising order.

    Raises
    ------
    BadInput
        no such choice, or keys that this piano doesn't have
    """
    found = next((c for c in choices(piano) if c.id == name), None)
    if found is None:
        raise BadInput("what to record", repr(name)[:40], "one of those shown", "Run the cell again.")
    if not keys or not found.keys:
        return found
    if not isinstance(keys, (list, tuple)) or not all(type(k) is int for k in keys):
        raise BadInput("keys", repr(keys)[:40], "numbers of keys")
    wanted = tuple(sorted(set(keys)))
    if not set(wanted) <= set(range(piano.first_key, piano.last_key + 1)):
        raise BadInput("keys", wanted, f"keys from {piano.first_key} to {piano.last_key}")
    return Choice(found.id, found.title, found.purpose, wanted, found.how)


def about_of(event: dict[str, Any], *, piano: Piano, visit_id: str, by: str) -> About:
    """What a page says of a recording that begins; a setting that it doesn't tell is unknown, not off.

    Raises
    ------
    BadInput
        as `choice_of`
    """
    choice = choice_of(piano, event["what"], event.get("keys"))
    blow, told = str(event.get("blow", "usual")), event.get("processing") or {}
    keys = choice.keys or (piano.first_key, piano.last_key)
    return About(
        visit_id=visit_id,
        rate_hz=int(event["rate_hz"]),
        channels=int(event.get("channels", 1)),
        by=by,
        purpose=choice.purpose,
        note="" if blow == "usual" else BLOWS.get(blow, ""),
        first_key=keys[0],
        last_key=keys[-1],
        device=str(event.get("device", ""))[:200],
        processing={name: str(told[name]) if told.get(name) in STATES else "unknown" for name in PROCESSING},
        page=str(event["page"])[:64],
        begun=datetime.now(UTC).isoformat(timespec="seconds"),
    )
