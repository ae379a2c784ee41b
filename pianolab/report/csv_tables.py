"""The same content as a set of CSV tables, for those who want the numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from pianolab.acoustics.survey_result import Survey, rounded_rows
from pianolab.assess.assessment import Assessment
from pianolab.checklist.points import Checklist
from pianolab.compare.comparison import Comparison, Standing
from pianolab.errors import BadInput
from pianolab.figures.judged import judged
from pianolab.figures.look import marks_for
from pianolab.files import write_files
from pianolab.keyboard import note_name
from pianolab.model import Finding
from pianolab.report.instruments import view_findings
from pianolab.report.offers import COMPARABLE_COLUMNS, comparable_rows
from pianolab.report.redact import Content, check_choices, redact

ALWAYS = ("shortlist.csv", "aspects.csv", "alerts.csv", "unknown.csv", "next_steps.csv", "findings.csv")
"""Tables that are written whatever is left out; the others follow from what the comparison holds."""
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def csv_tables(
    comparison: Comparison,
    *,
    surveys: Mapping[str, Survey],
    findings: Mapping[str, Sequence[Finding]],
    checklist: Checklist,
    leave_out: Sequence[str] = (),
    private: Sequence[str] = (),
) -> dict[str, str]:
    """File name to CSV text: shortlist, aspects, alerts, unknown, repairs, comparables, next_steps, findings, survey_A, ….

    An unknown number is an empty cell, and a column beside it says why. Text cells that a spreadsheet would
    take for a formula get an apostrophe in front.

    Parameters
    ----------
    comparison, surveys, findings, checklist, leave_out, private : as in `comparison_page`

    Returns
    -------
    dict of str to str
    """
    gone = check_choices(leave_out)
    own = {i: tuple(f) for i, f in findings.items()}
    content = redact(
        Content(comparison=comparison, findings=own, provenance={}, private=tuple(private)), leave_out
    )
    c = content.comparison
    marks = marks_for({a.piano.id: a.piano.name for a in c.assessments})
    names = {i: (m.letter, m.name) for i, m in marks.items()}
    tables = {
        "shortlist.csv": _shortlist(c, names, prices="prices" not in gone),
        "aspects.csv": _aspects(c, names),
        "alerts.csv": _alerts(c, names),
        "unknown.csv": _unknown(c, names, content.findings, checklist),
        "next_steps.csv": _steps(c, names),
        "findings.csv": _findings(c, names, content.findings, checklist),
    }
    if "prices" not in gone:
        tables["repairs.csv"] = _repairs(c, names)
        if like := list(comparable_rows(c)):
            rows = [(*names[piano_id], *row) for piano_id, row in like]
            tables["comparables.csv"] = as_csv([*WHO, *COMPARABLE_COLUMNS], rows)
    for piano_id, survey in surveys.items():
        if piano_id not in names:
            raise BadInput("surveys", repr(piano_id), "ids of pianos that are in the comparison")
        tables[f"survey_{names[piano_id][0]}.csv"] = as_csv(*rounded_rows(survey.table))
    return tables


def check_folder(folder: Path) -> None:
    """`BadInput` where a folder for tables is a file.

    Parameters
    ----------
    folder : where the tables are to stand
    """
    if folder.exists() and not folder.is_dir():
        raise BadInput(str(folder), "a file", "a folder, or a name for a new one")


def write_tables(folder: Path | str, tables: Mapping[str, str], *, replace: bool = False) -> Path:
    """Writes the tables into a folder (made where missing), all of them or none; returns the folder.

    Parameters
    ----------
    folder, tables : where to, and texts by file name
    replace : whether files of these names that are there may be replaced

    Raises
    ------
    BadInput : a file of one of these names is there, or the folder can't be written; nothing is written
    """
    folder = Path(folder)
    check_folder(folder)
    write_files(table_files(folder, tables), folder=folder, replace=replace)
    return folder


def table_files(folder: Path, tables: Mapping[str, str]) -> dict[Path, bytes]:
    """Bytes of each table by its path; the mark at their beginning tells spreadsheets that it is UTF-8.

    Parameters
    ----------
    folder : where the tables are to stand
    tables : CSV text by file name

    Returns
    -------
    dict of bytes by path
    """
    return {folder / name: text.encode("utf-8-sig") for name, text in tables.items()}


def cell(value: Any) -> str:
    """One cell: numbers as they are, unknown as nothing, text that looks like a formula with an apostrophe.

    Examples
    --------
    >>> cell(-2.5), cell(None), cell("=1+1"), cell("sound")
    ('-2.5', '', "'=1+1", 'sound')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float, Decimal)):
        return str(value)
    text = str(value)
    return (
        "'" + text if text.lstrip(" ").startswith(FORMULA_STARTS) or text.startswith(FORMULA_STARTS) else text
    )


def as_csv(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A CSV text with a header line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([cell(h) for h in header])
    writer.writerows([cell(v) for v in row] for row in rows)
    return out.getvalue()


Names = Mapping[str, tuple[str, str]]
WHO = ("letter", "instrument")


Column = Callable[[Assessment, Standing], Any]
SHORTLIST: dict[str, Column] = {
    "first_choice_share": lambda _, s: s.rank_shares[0],
    "score_low": lambda _, s: s.score_low,
    "score_middle": lambda _, s: s.score_middle,
    "score_high": lambda _, s: s.score_high,
    "vetoed": lambda _, s: s.vetoed,
    "points_checked": lambda a, _: a.points_checked,
    "points_total": lambda a, _: a.points_total,
    "heard": lambda a, _: a.heard,
}
MONEY: dict[str, Column] = {
    "asking_price": lambda a, _: a.piano.asking_price,
    "total_p10": lambda _, s: s.total_p10,
    "total_p50": lambda _, s: s.total_p50,
    "total_p90": lambda _, s: s.total_p90,
    "open_with": lambda _, s: s.price.open_with,
    "aim_at": lambda _, s: s.price.aim_at,
    "walk_away_above": lambda _, s: s.price.walk_away_above,
    "worth_low": lambda _, s: s.price.worth_low,
    "worth_middle": lambda _, s: s.price.worth_mid,
    "worth_high": lambda _, s: s.price.worth_high,
    "chance_over_budget": lambda _, s: s.price.chance_over_budget,
    "budget_limit": lambda _, s: s.price.budget_limit,
    "price_reasons": lambda _, s: "; ".join(s.price.reasons),
}
"""Columns of the shortlist by their names, those of money apart."""


def _shortlist(c: Comparison, names: Names, *, prices: bool) -> str:
    columns = SHORTLIST | (MONEY if prices else {})
    rows = [
        (
            *names[a.piano.id],
            *(value(a, c.standing(a.piano.id)) for value in columns.values()),
            *((c.profile.currency, a.repairs.origin) if prices else ()),
        )
        for a in c.assessments
    ]
    return as_csv([*WHO, *columns, *(("currency", "prices_of") if prices else ())], rows)


def _aspects(c: Comparison, names: Names) -> str:
    rows = [
        (*names[a.piano.id], r.aspect, r.low, r.high, "; ".join(m.text for m in r.made_by))
        for a in c.assessments
        for r in a.aspects
    ]
    return as_csv([*WHO, "aspect", "low", "high", "made_by"], rows)


def _alerts(c: Comparison, names: Names) -> str:
    rows = [
        (*names[a.piano.id], x.kind, x.text, x.how_sure, x.confirm_by)
        for a in c.assessments
        for x in a.alerts
    ]
    return as_csv([*WHO, "kind", "text", "how_sure", "confirm_by"], rows)


def _unknown(
    c: Comparison, names: Names, findings: Mapping[str, Sequence[Finding]], checklist: Checklist
) -> str:
    rows: list[tuple[Any, ...]] = []
    for a in c.assessments:
        who = names[a.piano.id]
        rows += [
            (*who, r.aspect, u.text, u.reason, u.width, u.effort, u.minutes)
            for r in a.aspects
            for u in r.unknown
        ]
        view = view_findings(a.piano, findings.get(a.piano.id, ()), checklist)
        rows += [(*who, "point", o.title, f"{o.state}: {o.reason}", None, "", None) for o in view.open]
    return as_csv([*WHO, "bears_on", "what", "reason", "width", "effort", "minutes"], rows)


def _steps(c: Comparison, names: Names) -> str:
    rows = [
        (*names[s.piano_id], s.text, s.effort, s.minutes, s.chance_to_change, s.why) for s in c.next_steps
    ]
    return as_csv([*WHO, "find_out", "effort", "minutes", "chance_to_change_what_to_do", "why"], rows)


def _repairs(c: Comparison, names: Names) -> str:
    rows = [
        (
            *names[a.piano.id],
            j.title,
            j.low,
            j.usual,
            j.high,
            a.repairs.currency,
            j.chance,
            j.need,
            j.kind,
            "; ".join(a.repairs.reasons_for(j)),
            a.repairs.origin,
        )
        for a in c.assessments
        for j in a.repairs.jobs
    ]
    header = ["job", "low", "usual", "high", "currency", "chance", "need", "kind", "reasons", "prices_of"]
    return as_csv([*WHO, *header], rows)


def _findings(
    c: Comparison, names: Names, findings: Mapping[str, Sequence[Finding]], checklist: Checklist
) -> str:
    rows = []
    points = {p.id: p for p in checklist}
    for a in c.assessments:
        for f in findings.get(a.piano.id, ()):
            point = points.get(f.point)
            grade, found, meaning = judged(f, point) if f.state == "checked" else (None, "", "")
            rows.append(
                (
                    *names[a.piano.id],
                    point.area if point else "",
                    point.title if point else f.point,
                    f.state,
                    f.reason,
                    grade,
                    found,
                    meaning,
                    " ".join(note_name(k) for k in f.keys),
                    f.place,
                    f.note,
                    f.examiner,
                    f.promised,
                )
            )
    header = [
        *WHO,
        "area",
        "point",
        "state",
        "reason",
        "grade",
        "found",
        "meaning",
        "keys",
        "place",
        "note",
        "examiner",
        "promised",
    ]
    return as_csv(header, rows)
