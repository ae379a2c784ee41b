"""Hand-made shortlists for the tests of figures and report: small, plain, and known by construction."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from pianolab.acoustics.survey_result import (
    COLUMNS,
    EXTRA_COLUMNS,
    TEXT_COLUMNS,
    LevelCurve,
    Survey,
    SurveySummary,
)
from pianolab.assess.assessment import (
    Alert,
    AspectResult,
    Assessment,
    Contribution,
    RepairEstimate,
    RepairJob,
    Unknown,
)
from pianolab.checklist.points import Checklist, Point
from pianolab.compare import PriceAdvice
from pianolab.compare.comparison import Comparison, Standing, Verdict
from pianolab.compare.steps import NextStep
from pianolab.keyboard import note_name
from pianolab.model import ASPECTS, Buyer, Finding, Piano
from pianolab.statements import as_written

NAMES = ("Blue upright", "School grand", "Attic upright", "Parlour grand")
ASKING = (Decimal(1800), Decimal(4200), Decimal(600), None)
MIDDLES = (
    (7.0, 7.5, 8.0, 7.8, 7.2, 5.0),
    (8.2, 6.0, 5.5, 7.0, 6.5, 8.0),
    (4.0, 4.5, 2.5, 3.0, 4.0, 3.5),
    (6.5, 7.0, 6.0, 6.0, 5.5, 7.0),
)
HALF_WIDTHS = (0.5, 0.8, 1.5, 3.0)
SHARES = (
    (0.71, 0.20, 0.07, 0.02),
    (0.17, 0.47, 0.31, 0.05),
    (0.0, 0.02, 0.08, 0.90),
    (0.12, 0.31, 0.54, 0.03),
)

POINTS = (
    Point(
        id="lid",
        area="case",
        title="Lid and hinges",
        why="Safety.",
        how="Lift it slowly.",
        nature="cosmetic",
        anchors=("No mark", "Small scratches", "Faded", "Veneer lifting", "Hinge torn out"),
        minutes=1,
        aspects={"appearance": 0.5},
    ),
    Point(
        id="plate",
        area="structure",
        title="Iron plate",
        why="It carries the strings.",
        how="Look along the struts with a lamp.",
        anchors=("No crack", "Paint cracks only", "Doubtful line", "Likely crack", "Crack seen"),
        nature="structural",
        minutes=3,
        aspects={"structure": 1.0},
    ),
    Point(
        id="pins",
        area="structure",
        title="Tuning pins",
        why="They hold the tuning.",
        how="Ask a technician for the torque.",
        record="reading",
        unit="Nm",
        usual=(6.0, 20.0),
        nature="structural",
        access="technician only",
        minutes=10,
        aspects={"tuning stability": 1.0},
    ),
    Point(
        id="sticking",
        area="action",
        title="Sticking keys",
        why="They spoil playing.",
        how="Press every key softly.",
        record="count",
        per_key=True,
        minutes=4,
        aspects={"touch": 1.0},
    ),
    Point(
        id="moth",
        area="action",
        title="Moth or woodworm",
        why="It spreads.",
        how="Look under the keys.",
        record="yes_no",
        good_answer=False,
        nature="structural",
        minutes=3,
        aspects={"structure": 0.6},
    ),
    Point(
        id="serial",
        area="case",
        title="Serial number",
        why="It tells the age.",
        how="Look on the plate.",
        record="yes_no",
        nature="information",
        minutes=1,
    ),
    Point(
        id="pedals",
        area="pedals",
        title="Pedals",
        why="They should be silent.",
        how="Press each one.",
        anchors=("Silent, firm", "Slight play", "Squeaks", "Weak", "One fails"),
        minutes=2,
        aspects={"touch": 0.4},
    ),
)


def make_checklist() -> Checklist:
    return Checklist(POINTS)


def make_pianos(names: tuple[str, ...] = NAMES) -> tuple[Piano, ...]:
    return tuple(
        Piano(
            id=f"p{i}",
            name=name,
            kind="grand" if i % 2 else "upright",
            year=1962 + 9 * i,
            asking_price=ASKING[i % 4],
            seller=f"Seller {i} Quill",
            address=f"{i} Lime Row",
            serial=f"S-{i}77",
        )
        for i, name in enumerate(names)
    )


def make_row(key: int, **given: Any) -> dict[str, Any]:
    """A row of the survey table: unknown everywhere but where ``given`` says something."""
    row: dict[str, Any] = {c: "" if c in TEXT_COLUMNS else np.nan for c in (*COLUMNS, *EXTRA_COLUMNS)}
    return row | {"key": key, "note": note_name(key), "status": "measured"} | given


def make_survey(
    *,
    seed: int = 1,
    first_key: int = 1,
    last_key: int = 88,
    sustain: float = 1.0,
    spread: float = 0.8,
    offset: float = -6.0,
    masked: tuple[int, ...] = (),
    changes: Mapping[int, dict[str, Any]] | None = None,
) -> Survey:
    """A plausible survey from a few numbers; ``changes`` overwrites cells of single keys."""
    rng = np.random.default_rng(seed)
    rows = []
    for key in range(first_key, last_key + 1):
        decay = sustain * 14.0 * 2.0 ** (-(key - 1) / 17.0) * float(np.exp(rng.normal(0, 0.12)))
        off = float(rng.normal(0, spread))
        curve = 0.00004 * (key - 49) ** 3
        held = decay > 6.0
        row = make_row(
            key,
            onset_s=2.5 * (key - first_key),
            hold_s=2.0,
            snr_db=44.0,
            f1_hz=27.5 * 2 ** ((key - 1) / 12),
            cents=offset + curve + off,
            curve_cents=offset + curve,
            off_curve_cents=off,
            inharmonicity=2e-4,
            unison_cents=abs(float(rng.normal(0, 0.5 * spread))),
            beat_hz=0.4,
            beat_partial=3.0,
            decay_20_s=6.0 if held else decay,
            decay_20_bound=">" if held else "=",
            early_db_per_s=20 / decay,
            late_db_per_s=9 / decay,
            release_20_s=0.12 * 2.0 ** (-(key - 40) / 30),
            release_bound="<" if key > 70 else "=",
            brightness_db=-12.0,
            brightness_dev=float(rng.normal(0, 1.0)),
            buzz_db=0.0,
            sustain_trust="ok",
            sustain_verdict="sound",
            strikes=1.0,
            level_db=-20.0,
            cents_sd=0.1,
            unison_cents_sd=0.15,
            decay_20_s_sd=0.03 * decay,
        )
        if key in masked:
            row |= {
                "sustain_trust": "masked by unison",
                "sustain_verdict": "tune first",
                "unison_cents": 4.5,
                "faults": "unison",
                "not_judged": "short_sustain=masked by unison",
            }
        if key >= 74:
            row |= {"release_20_s": np.nan, "release_bound": "", "gaps": "release_20_s=no damper on this key"}
        rows.append(row | (changes or {}).get(key, {}))
    curve = make_curve(49)
    for row in rows:
        if row["key"] == curve.key and row["status"] == "measured":
            row |= {
                "decay_20_s": fall_time_s(curve),
                "early_db_per_s": 18.0,
                "late_db_per_s": 6.0,
                "hold_s": 2.4,
            }
    return Survey(table=pd.DataFrame(rows), summary=make_summary(rows, offset), curves=(curve,))


def fall_time_s(curve: LevelCurve) -> float:
    """When the curve last crosses 20 dB under its maximum."""
    return max(t for t, db in zip(curve.time_s, curve.level_db, strict=True) if db > -20.0)


def make_summary(rows: list[dict[str, Any]], offset: float) -> SurveySummary:
    def keys(status: str) -> tuple[int, ...]:
        return tuple(r["key"] for r in rows if r["status"] == status)

    return SurveySummary(
        first_key=rows[0]["key"],
        last_key=rows[-1]["key"],
        a4_hz=440.0,
        rate_hz=44100,
        channels=1,
        seconds=2.5 * len(rows),
        measured=len(keys("measured")),
        silent=keys("silent"),
        skipped=keys("skipped"),
        unclear=keys("unclear"),
        offset_cents=offset,
        tuning_spread_cents=1.0,
        reading="clear",
        other_first_key=None,
        t60_s=0.41,
        t60_reason="",
        noise_db=-62.0,
        clipped_keys=(),
        quality=("quiet room",),
        sustain_hidden=sum(r["sustain_trust"] == "masked by unison" for r in rows),
        sustain_heard=sum(r["sustain_trust"] == "ok" for r in rows),
        warnings=(),
    )


def make_curve(key: int) -> LevelCurve:
    t = np.arange(0.0, 2.4, 0.01)
    level = 10 * np.log10(10 ** (-18.0 * t / 10) + 0.05 * 10 ** (-6.0 * t / 10) + 10**-5.2)
    level -= level[0]
    return LevelCurve(key=key, time_s=tuple(t.tolist()), level_db=tuple(level.tolist()), floor_db=-52.0)


def make_surveys(count: int = 3) -> dict[str, Survey]:
    """Surveys of the first pianos: a good one, a weaker grand, and one whose bad tuning hides its treble."""
    silent = {
        "status": "silent",
        "faults": "silent",
        "gaps": "decay_20_s=not sounded;off_curve_cents=not sounded;unison_cents=not sounded;"
        "brightness_dev=not sounded;release_20_s=not sounded",
    }
    empty = {c: np.nan for c in (*COLUMNS, *EXTRA_COLUMNS) if c not in TEXT_COLUMNS and c != "key"}
    short = {
        k: {"decay_20_s": 0.25, "faults": "short_sustain", "sustain_verdict": "short"} for k in (61, 62, 64)
    }
    all_of_them = {
        "p0": make_survey(seed=1),
        "p1": make_survey(
            seed=2,
            sustain=0.7,
            spread=1.2,
            offset=-2.0,
            changes=short | {52: {"faults": "damper", "release_20_s": 1.4}},
        ),
        "p2": make_survey(
            seed=3,
            sustain=0.5,
            spread=6.0,
            offset=-61.0,
            masked=tuple(range(48, 80)),
            changes={70: empty | silent},
        ),
        "p3": make_survey(seed=4, sustain=0.9, spread=1.0),
    }
    return dict(list(all_of_them.items())[:count])


def make_findings() -> dict[str, tuple[Finding, ...]]:
    def of(n: int) -> tuple[Finding, ...]:
        v = f"v{n}"
        return (
            Finding(
                visit_id=v,
                point="plate",
                grade=(5, 4, 1, 5)[n],
                place="upper strut",
                note="looked along with a lamp",
                examiner="Ana",
            ),
            Finding(visit_id=v, point="lid", grade=(2, 5, 3, 4)[n], note="sun-bleached", examiner="Ana"),
            Finding(
                visit_id=v,
                point="sticking",
                count=(0, 2, 7, 1)[n],
                keys=((), (30, 31), (3, 8, 20, 44, 45, 60, 71), (52,))[n],
                examiner="Bo",
            ),
            Finding(visit_id=v, point="moth", answer=n == 2, examiner="Bo"),
            Finding(
                visit_id=v, point="pins", state="not allowed", reason="the seller wants a technician for that"
            ),
            Finding(visit_id=v, point="serial", answer=True),
        )

    return {f"p{n}": of(n) for n in range(4)}


def make_assessment(piano: Piano, n: int) -> Assessment:
    half = HALF_WIDTHS[n % 4]
    aspects = tuple(
        AspectResult(
            aspect=a,
            low=max(0.0, m - half),
            high=min(10.0, m + half),
            made_by=(Contribution(says=as_written(f"worn {a} parts"), low=-2.0, high=-1.0, source="lid"),),
            unknown=(
                Unknown(
                    what=as_written("tuning pins"),
                    why=as_written("not allowed"),
                    width=half,
                    source="pins",
                    effort="technician",
                    minutes=30,
                ),
            ),
        )
        for a, m in zip(ASPECTS, MIDDLES[n % 4], strict=True)
    )
    job = RepairJob(
        job="hammers",
        what=as_written("Reshape the hammers"),
        low=Decimal(150),
        usual=Decimal(250),
        high=Decimal(400),
        chance=0.8,
        why=(as_written("deep grooves in the treble"),),
    )
    pins = RepairJob(
        job="pins",
        what=as_written("New tuning pins"),
        low=Decimal(900),
        usual=Decimal(1400),
        high=Decimal(2200),
        chance=0.15 + 0.2 * n,
        why=(as_written("pins not checked"),),
    )
    base = 200 + 300 * n
    repairs = RepairEstimate(
        jobs=(job, pins),
        p10=Decimal(base),
        p50=Decimal(base + 150),
        p90=Decimal(base * 2 + 600),
        currency="EUR",
    )
    alerts: tuple[Alert, ...] = (
        Alert(
            kind="warning",
            says=as_written("The pins were not checked"),
            how_sure="possible",
            confirm_by="technician",
            source="pins",
        ),
    )
    if n == 2:
        alerts = (
            Alert(
                kind="veto",
                says=as_written("The iron plate looks cracked"),
                how_sure="seen",
                confirm_by="technician",
                source="plate",
            ),
            *alerts,
        )
    said = as_written("32 keys of the treble are too far out of tune to judge how long they sing")
    return Assessment(
        piano=piano,
        aspects=aspects,
        alerts=alerts,
        repairs=repairs,
        points_checked=6 - n // 2,
        points_total=7,
        heard=n != 3,
        hidden=said if n == 2 else None,
    )


def make_standing(piano: Piano, n: int, shares: tuple[float, ...]) -> Standing:
    known = piano.asking_price is not None
    base = (piano.asking_price or Decimal(0)) + 500
    m = sum(MIDDLES[n % 4]) / 6
    return Standing(
        piano_id=piano.id,
        name=piano.name,
        rank_shares=shares,
        score_low=m - HALF_WIDTHS[n % 4],
        score_middle=m,
        score_high=m + HALF_WIDTHS[n % 4],
        total_p10=base if known else None,
        total_p50=base + 250 * (n + 1) if known else None,
        total_p90=base + 900 * (n + 1) if known else None,
        price=_price(n, known=known and n != 2),
        vetoed=n == 2,
        dominated_by=("p0",) if n == 2 else (),
    )


def _price(n: int, *, known: bool) -> PriceAdvice:
    if not known:
        return PriceAdvice(missing=(as_written("the asking price is not known"),))
    most = Decimal(1650 - 300 * n)
    why = (as_written("three like instruments, less repairs"),)
    return PriceAdvice(
        open_with=most - 400, aim_at=most - 200, walk_away_above=most, worth_mid=most, terms=why
    )


def make_comparison(names: tuple[str, ...] = NAMES) -> Comparison:
    """A shortlist of two to eight instruments; the first one wins, the third has a veto."""
    pianos = make_pianos(names)
    count = len(pianos)
    shares = (
        SHARES
        if count == 4
        else tuple(
            tuple((0.6 if i == j else 0.4 / max(1, count - 1)) if count > 1 else 1.0 for j in range(count))
            for i in range(count)
        )
    )
    steps = tuple(
        NextStep(
            piano_id=p.id,
            piano_name=p.name,
            action=as_written(text),
            effort=effort,
            minutes=minutes,
            chance_to_change=chance,
            because=as_written(why),
            source="pins",
        )
        for p, text, effort, minutes, chance, why in (
            (
                pianos[0],
                "Have the tuning pins tested",
                "technician",
                30.0,
                0.21,
                "loose pins would cost more than the piano",
            ),
            (pianos[-1], "Record every key", "record again", 10.0, 0.14, "nothing of its tone is known"),
            (
                pianos[min(1, count - 1)],
                "Look at the hammers",
                "look again",
                5.0,
                0.03,
                "grooves could be deep",
            ),
        )
    )
    profile = Buyer(
        name="first piano",
        description="a pupil in the second year",
        budget=Decimal(3500),
        weights=dict(
            zip(
                ASPECTS, ((0.2, 0.4), (0.3, 0.5), (0.2, 0.3), (0.1, 0.3), (0.1, 0.2), (0.0, 0.1)), strict=True
            )
        ),
    )
    return Comparison(
        profile=profile,
        assessments=tuple(make_assessment(p, i) for i, p in enumerate(pianos)),
        standings=tuple(make_standing(p, i, shares[i]) for i, p in enumerate(pianos)),
        next_steps=steps,
        verdict=Verdict(
            kind="buy",
            piano_id=pianos[0].id,
            answer=as_written(f"Buy {pianos[0].name}, for at most 1,650 EUR."),
            reasons=(
                as_written(f"{pianos[0].name} is sound where it matters and has the most even touch."),
                as_written("Its tuning pins were not tested: have them tested before you pay."),
            ),
            how_sure=shares[0][0],
        ),
        seed=7,
        draws=20000,
    )


def many_names(count: int) -> tuple[str, ...]:
    return (*NAMES, "Corner upright", "Cinema grand", "Chapel upright", "Studio grand")[:count]
