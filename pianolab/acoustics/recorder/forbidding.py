"""What a recording's impairments take out of the survey: values, faults and verdicts, with the reason in their place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pianolab.acoustics.columns import Column, resting_with
from pianolab.acoustics.recorder.recorder_states import Impairment
from pianolab.acoustics.survey_table import Row


def forbid(rows: Sequence[Row], impairments: Iterable[Impairment]) -> list[Row]:
    """The rows without what the recording forbids; the reasons stand in ``gaps`` and ``not_judged``.

    An impairment names columns; with each of them goes all that is read from the same side of the sound (`resting_with`).

    Parameters
    ----------
    rows : as in `survey_rows`
    impairments : the most serious first; its reason stands over those of later ones

    Returns
    -------
    list of rows, new ones where something is taken out
    """
    out = list(rows)
    for own in reversed(tuple(impairments)):
        columns = resting_with(own.columns)
        if columns or own.faults or own.trust:
            out = [_without(row, own, columns) if _meets(own, row) else row for row in out]
    return out


def _meets(own: Impairment, row: Row) -> bool:
    return row["status"] == "measured" and (own.keys is None or row["key"] in own.keys)


def _without(row: Row, own: Impairment, columns: Sequence[Column]) -> Row:
    here = [c for c in columns if c.name in row]
    verdict = {"sustain_trust": own.trust, "sustain_verdict": ""} if own.trust else {}
    return {
        **row,
        **{c.name: c.empty for c in here},
        **verdict,
        "gaps": row["gaps"] | {c.name: own.name for c in here if c.needs_reason},
        "not_judged": row["not_judged"] | dict.fromkeys(own.faults, own.name),
        "faults": tuple(f for f in row["faults"] if f not in own.faults),
    }
