"""The benchmark tables of both narrow generators: ``python -m benchmarks.tables [--keep] [--quick]``.

Everything is measured anew: accuracy on both generators (never pooled), on ideal tones against the Cramér-Rao bound,
speed as ratios within one process, memory, growth with length. With ``--keep`` they are written into ``benchmarks/TABLES.md``, else printed.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.scenes import MAKERS, seeded_faults
from benchmarks.scores import REGISTERS, fault_table, measure_row, side_by_side
from benchmarks.second_generator import Faults

KEPT = Path(__file__).resolve().with_name("TABLES.md")
BEGIN, END = "<!-- benchmark tables -->", "<!-- end of benchmark tables -->"
SEEDS = (701, 702, 703)
"""Pianos that no limit was chosen on."""
ROOMS = ("dry", "home", "hall")
SNR_DB = 45.0
NOISES_DB = (60.0, 40.0, 20.0)
GENERATORS = {"model": "own model (modes)", "second": "second generator (finite differences)"}
MEASURES: dict[str, tuple[str, str]] = {
    "right key %": ("right_%", "{:.0f}"),
    "pitch, cents": ("cents", "{:.2f} / {:.2f}"),
    "B %": ("B", "{:.2f} / {:.1f}"),
    "unison, cents": ("uni", "{:.2f} / {:.2f}"),
    "fall 20 dB %": ("dec", "{:.1f} / {:.0f}"),
    "of these measured %": ("dec_cov_%", "{:.0f}"),
    "bounds true %": ("bound_true_%", "{:.0f}"),
}


def markdown(rows: list[list[str]], header: list[str]) -> str:
    """A Markdown table."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def accuracy_rows(
    generator: str, room: str, seeds: tuple[int, ...], *, keys: tuple[int, int] = (1, 88)
) -> pd.DataFrame:
    """Truth and survey side by side of some pianos in one room."""
    from pianolab.acoustics import listen

    frames = []
    for seed in seeds:
        faults = seeded_faults(seed) if keys == (1, 88) else Faults()
        scene = MAKERS[generator](seed, room=room, snr_db=SNR_DB, keys=keys, faults=faults)
        survey = listen(scene.samples, rate_hz=scene.rate_hz, first_key=keys[0], last_key=keys[1])
        frames.append(side_by_side(scene.truth, survey.to_frame()).assign(seed=seed))
    return pd.concat(frames, ignore_index=True)


def accuracy_table(
    generator: str, seeds: tuple[int, ...], *, keys: tuple[int, int] = (1, 88), tell: Callable[[str], None]
) -> str:
    """Errors by room and register of one generator, and the faults found by room."""
    rows, faults = [], []
    for room in ROOMS:
        tell(f"{generator}, {room}")
        own = accuracy_rows(generator, room, seeds, keys=keys)
        for name, (low, high) in {"all": (1, 88), **REGISTERS}.items():
            part = own[own["key"].between(low, high)]
            if len(part):
                rows.append([room, name, *_cells(measure_row(part))])
        found = fault_table(own, pianos=len(seeds))
        faults.append([room, *(_found(found.loc[fault]) for fault in found.index)])
    errors = markdown(rows, ["room", "register", *MEASURES])
    if keys != (1, 88):
        return errors
    said = "Faults found of those seeded (said to be hidden), false ones per piano:"
    names = [str(fault).replace("_", " ") for fault in found.index]
    return "\n\n".join([errors, said, markdown(faults, ["room", *names])])


def _found(counts: pd.Series) -> str:
    hidden = f" ({counts['not judged']})" if counts["not judged"] else ""
    return f"{counts['found']} of {counts['seeded']}{hidden}, {counts['false/piano']:.1f}"


def _cells(figures: dict[str, float]) -> list[str]:
    out = []
    for column, form in MEASURES.values():
        names = [column] if column.endswith("%") else _pair(column)
        values = [figures[n] for n in names]
        out.append("–" if any(np.isnan(v) for v in values) else form.format(*values))
    return out


def _pair(column: str) -> list[str]:
    unit = "" if column in ("cents", "uni") else "_%"
    return [f"{column}_med{unit}", f"{column}_p90{unit}"]


def bound_table(
    seeds: tuple[int, ...], *, keys: tuple[int, int] = (1, 88), tell: Callable[[str], None]
) -> str:
    """Pitch errors on ideal tones by noise and register, against the least that the noise allows."""
    rows = []
    for snr_db in NOISES_DB:
        tell(f"ideal tones, {snr_db:g} dB")
        own = pd.concat([_against_the_bound(seed, snr_db, keys) for seed in seeds])
        for name, (low, high) in REGISTERS.items():
            part = own[own["key"].between(low, high)].dropna()
            if not len(part):
                continue
            error, bound = _middle_size(part["error_cents"]), float(part["bound_cents"].median())
            rows.append([f"{snr_db:g}", name, f"{error:.4f}", f"{bound:.5f}", f"{error / bound:.1f}"])
    return markdown(
        rows, ["noise, dB under the note", "register", "error, cents", "bound, cents", "error / bound"]
    )


def _middle_size(errors: pd.Series) -> float:
    """Standard deviation of normal errors with this median size: single gross errors don't rule it."""
    return float(1.4826 * errors.abs().median())


def _against_the_bound(seed: int, snr_db: float, keys: tuple[int, int]) -> pd.DataFrame:
    from benchmarks.ideal import ideal_scale
    from pianolab.acoustics import listen

    scale = ideal_scale(seed, snr_db=snr_db, keys=keys)
    table = listen(scale.samples, rate_hz=scale.rate_hz, first_key=keys[0], last_key=keys[1]).table
    both = scale.truth.merge(table[["key", "f1_hz"]], on="key", suffixes=("_true", ""))
    both["error_cents"] = 1200.0 * np.log2(both["f1_hz"] / both["f1_hz_true"])
    return both[["key", "error_cents", "bound_cents"]]


def speed_tables(*, repeats: int, keys: tuple[int, int] = (1, 88), tell: Callable[[str], None]) -> str:
    """Ratios of time within one process, memory, and growth with length."""
    from benchmarks.speed import compared, growth, peak_mib

    tell("speed")
    scene = MAKERS["second"](1, room="home", snr_db=SNR_DB, faults=Faults(), keys=keys)
    seconds = scene.samples.size / scene.rate_hz
    took = compared(scene.samples, scene.rate_hz, repeats=repeats)
    rows = [[name, f"{took['listen'] / other:.2g}"] for name, other in took.items() if name != "listen"]
    tell("memory and growth")
    longer = growth(scene.samples, scene.rate_hz, repeats=min(repeats, 3))
    first = longer[1]
    more = [
        [str(times), f"{value / first:.2f}", f"{value / first / times:.2f}"]
        for times, value in longer.items()
    ]
    said = (
        f"One scale ({seconds:.0f} s of sound) takes {100 * took['listen'] / seconds:.1f} % of its own length on "
        f"{os.cpu_count()} cores; the listening needs {peak_mib(scene.samples, scene.rate_hz):.0f} MiB beyond the samples."
    )
    return "\n\n".join(
        [
            said,
            markdown(rows, ["compared with", "time of the whole survey / its time"]),
            markdown(more, ["scales in the recording", "time, one scale = 1", "time per scale"]),
        ]
    )


def all_tables(*, quick: bool, tell: Callable[[str], None]) -> str:
    """Everything as Markdown, without date or machine."""
    seeds, keys = (SEEDS[:1], (40, 60)) if quick else (SEEDS, (1, 88))
    faulty = "" if quick else ", with seeded faults, one key left out and one struck twice"
    made = "few keys and one piano each, only to try the script" if quick else f"{len(seeds)} pianos each"
    parts = [
        f"Made by `python -m benchmarks.tables --keep{' --quick' * quick}` ({made}; seeds that the listening was not "
        f"tuned on; keys held 2 s, {SNR_DB:.0f} dB over the noise{faulty}). Errors are median / 90 % point of their sizes. Two generators with nothing in common, never pooled. "
        "The decay is compared with that of the dry note: what the listening can't take out of the room is in the error.",
    ]
    for generator, name in GENERATORS.items():
        parts += [f"**{name[0].upper() + name[1:]}**", accuracy_table(generator, seeds, keys=keys, tell=tell)]
    parts += [
        "**Against the Cramér-Rao bound.** Ideal tones, one string each, in white noise: the least scatter that any "
        "method can have in that noise, and ours (1.48 times the median size of the error). At a real piano the bridge, "
        "the unison and the room weigh a hundred times more than this bound and more.",
        bound_table((1,) if quick else (1, 2, 3), keys=keys, tell=tell),
        "**How fast.** Warm, in one process, decoding left out, medians of "
        f"{2 if quick else 5}; `librosa.pyin` on 20 s and scaled to the whole length; "
        "`frame_length` of yin and pyin and the transform of the STFT are 4096.",
        speed_tables(repeats=2 if quick else 5, keys=keys, tell=tell),
    ]
    return "\n\n".join(parts) + "\n"


def into_file(tables: str, *, path: Path = KEPT) -> None:
    """The tables between the two marks of a Markdown file; the rest stays as it is."""
    text = path.read_text(encoding="utf-8")
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise SystemExit(f"{path.name}: needs one line {BEGIN} and after it one line {END}")
    before, rest = text.split(BEGIN)
    after = rest.split(END)[1]
    scratch = path.with_name(path.name + ".part")
    scratch.write_text(f"{before}{BEGIN}\n\n{tables}\n{END}{after}", encoding="utf-8")
    scratch.replace(path)


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.tables", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--keep", action="store_true", help="write the tables into benchmarks/TABLES.md")
    parser.add_argument("--quick", action="store_true", help="few keys, one piano: to try the script")
    given = parser.parse_args(arguments)
    tables = all_tables(quick=given.quick, tell=lambda step: print(step, file=sys.stderr, flush=True))
    if given.keep:
        into_file(tables)
    else:
        print(tables)
    return 0


if __name__ == "__main__":
    sys.exit(main())
