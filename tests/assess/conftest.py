"""Hand-made surveys: a sound piano, key by key, into which a test puts what it wants heard."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pianolab.acoustics.survey_result import (
    COLUMNS,
    EXTRA_COLUMNS,
    FAULTS,
    TEXT_COLUMNS,
    Survey,
    SurveySummary,
)
from pianolab.keyboard import note_name, usual_strings, usually_damped
from pianolab.units import key_to_hz


def build_survey(
    *,
    faults: Mapping[str, Iterable[int]] | None = None,
    masked: Iterable[int] = (),
    skipped: Iterable[int] = (),
    unclear: Iterable[int] = (),
    offset_cents: float = 0.0,
    unison_cents: float = 0.4,
    slipped: Iterable[int] = (),
    not_judged: Mapping[int, str] | None = None,
    brightness_db: float = -12.0,
    t60_s: float = 0.4,
    seed: int = 0,
) -> Survey:
    """A survey of 88 keys: all sound but for the faults, by name and keys; ``masked`` by mistuned strings."""
    rng = np.random.default_rng(seed)
    faults = {name: set(keys) for name, keys in (faults or {}).items()}
    assert set(faults) <= set(FAULTS)
    masked, skipped, unclear, slipped = set(masked), set(skipped), set(unclear), set(slipped)
    rows = []
    for key in range(1, 89):
        row: dict[str, Any] = {c: "" if c in TEXT_COLUMNS else np.nan for c in (*COLUMNS, *EXTRA_COLUMNS)}
        silent = key in faults.get("silent", ())
        status = (
            "silent"
            if silent
            else "skipped"
            if key in skipped
            else "unclear"
            if key in unclear
            else "measured"
        )
        row |= {"key": key, "note": note_name(key), "status": status}
        mine = [name for name in FAULTS if key in faults.get(name, ())]
        if status == "measured":
            strings = usual_strings(key)
            cents = offset_cents + rng.normal(0, 0.3)
            row |= {
                "f1_hz": float(key_to_hz(key)) * 2 ** (cents / 1200),
                # B goes with one over the tension (fletcher1964).
                "inharmonicity": 1e-4 * 1.08 ** abs(key - 30) * 2.0 ** (-2.0 * offset_cents / 1200.0),
                "cents_sd": 0.05,
                "unison_cents_sd": 0.1,
                "onset_s": 2.5 * key,
                "hold_s": 2.0,
                "snr_db": 42.0,
                "cents": cents,
                "off_curve_cents": abs(rng.normal(0, 0.3)) + (5.0 if key in slipped else 0.0),
                "unison_cents": unison_cents * rng.uniform(0.6, 1.4) if strings > 1 else np.nan,
                "decay_20_s": 4.0 if key < 40 else 1.5,
                "decay_20_bound": "=",
                "brightness_db": brightness_db,
                "sustain_trust": "ok",
                "sustain_verdict": "short" if "short_sustain" in mine else "sound",
            }
            if key in slipped:
                row["unison_cents"] = 12.0
                mine.append("off_pitch")
            if key in masked:
                row |= {"sustain_trust": "masked by unison", "sustain_verdict": "tune first"}
                row["not_judged"] = "short_sustain=unison too far out"
            if usually_damped(key) is False:
                row["not_judged"] = ";".join(filter(None, [row["not_judged"], "damper=no damper here"]))
        else:
            row["gaps"] = f"f1_hz={status}"
        if not_judged and key in not_judged:
            row["not_judged"] = ";".join(filter(None, [row["not_judged"], not_judged[key]]))
        row["faults"] = ";".join(mine)
        rows.append(row)
    table = pd.DataFrame(rows, columns=[*COLUMNS, *EXTRA_COLUMNS])
    return Survey(table=table, summary=_summary(table, offset_cents, t60_s))


def _summary(table: pd.DataFrame, offset_cents: float, t60_s: float) -> SurveySummary:
    def keys(status: str) -> tuple[int, ...]:
        return tuple(int(k) for k in table.loc[table["status"] == status, "key"])

    return SurveySummary(
        first_key=1,
        last_key=88,
        a4_hz=440.0,
        rate_hz=44100,
        channels=1,
        seconds=220.0,
        measured=len(keys("measured")),
        silent=keys("silent"),
        skipped=keys("skipped"),
        unclear=keys("unclear"),
        offset_cents=offset_cents,
        tuning_spread_cents=0.5,
        reading="clear",
        other_first_key=None,
        t60_s=t60_s,
        t60_reason="",
        noise_db=-60.0,
        clipped_keys=(),
        quality=(),
        sustain_hidden=int((table["sustain_verdict"] == "tune first").sum()),
        sustain_heard=int((table["sustain_verdict"] == "sound").sum()),
        warnings=(),
    )


SOUND_OF: dict[str, dict[str, Any]] = {
    "masked treble": {"masked": range(34, 81), "offset_cents": -25.0, "unison_cents": 3.5},
    "fine in a dull room": {"brightness_db": -22.0, "t60_s": 0.2},
    "worn but honest": {
        "faults": {"silent": [43], "damper": [23, 36], "buzz": [30], "voicing": [34, 47, 58]}
    },
    "polished and failing": {
        "faults": {"short_sustain": range(60, 71)},
        "slipped": [53, 56, 59, 73, 75],
        "t60_s": 1.1,
    },
}
"""For each condition of the scenario a survey that fits it."""


@pytest.fixture
def make_survey() -> Callable[..., Survey]:
    return build_survey


@pytest.fixture
def sound_of() -> Callable[[str], Survey]:
    return lambda condition: build_survey(**SOUND_OF[condition])
