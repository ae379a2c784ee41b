"""The page and the tables made from a decision.

Photos, touch, rooms, remaining life and the cost of a year stand beside the comparison.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pianolab.assess.by_recording import COMPARED
from pianolab.casebook import Casebook
from pianolab.checklist.touch_scales import short_end
from pianolab.errors import BadInput, PianolabError
from pianolab.files import check_outputs, check_place, own_files, write_files
from pianolab.model import Photo, Piano
from pianolab.recordings.holding import Holding
from pianolab.recordings.left_pedal import LeftPedal
from pianolab.report import (
    ALWAYS,
    Enclosures,
    Further,
    Picture,
    check_choices,
    check_folder,
    comparison_page,
    csv_tables,
    further,
    scaled_picture,
    table_files,
)
from pianolab.report.photos_and_clips import provenance_name
from pianolab.rooms import RoomChange
from pianolab.rooms.advice import general_cautions
from pianolab.rooms.change import HeardTime
from pianolab.show import Row, Showable
from pianolab.touch.view import TouchView
from pianolab.upkeep import MoneyOverYears
from pianolab.words import as_sentence, listed
from pianolab.workflow.decided import Decided
from pianolab.workflow.progress import Progress, quiet, stoppable

NOT_COMPARED = {
    "tuned in between": "it was tuned between the two visits, so nothing can be said about its pins",
    "another piano": "the two recordings differ as those of two pianos do, so nothing can be said about its pins",
}
MOST_PHOTOS = 8
"""Of one piano on the page, those with a point first; the others stay in the casebook."""


def photos_of(
    casebook: Casebook, pianos: Sequence[Piano]
) -> tuple[dict[str, tuple[Picture, ...]], dict[str, str]]:
    """Scaled photos by piano id, latest visit first, and lines for the page's end: hashes, and what is not shown."""
    shown, lines = {}, {}
    for piano in pianos:
        visits = casebook.visits(piano.id)
        days = {v.id: v.day for v in visits}
        photos = [p for visit in reversed(visits) for p in casebook.photos(visit.id)]
        if not photos:
            continue
        photos.sort(key=lambda p: not p.point)
        made = {p.id: _scaled(casebook, p, days[p.visit_id]) for p in photos[:MOST_PHOTOS]}
        shown[piano.id] = tuple(picture for picture in made.values() if picture is not None)
        lines[provenance_name(piano.name)] = _origin(photos, made)
    return shown, lines


def _scaled(casebook: Casebook, photo: Photo, day: date | None) -> Picture | None:
    try:
        path = casebook.media_path(photo.media)
        return scaled_picture(path, caption=photo.caption, point=photo.point, day=day)
    except PianolabError:  # said at the end of the page
        return None


def _origin(photos: Sequence[Photo], made: Mapping[str, Picture | None]) -> str:
    hashes = [Path(p.media).stem[:16] for p in photos if made.get(p.id) is not None]
    broken = sum(picture is None for picture in made.values())
    said = [f"SHA-256 {', '.join(hashes)}"] if hashes else []
    said += [f"{broken} can't be shown, their files are gone or damaged"] if broken else []
    said += [f"{len(photos) - len(made)} more in the casebook"] if len(photos) > len(made) else []
    return "; ".join(said)


def private_words(casebook: Casebook) -> tuple[str, ...]:
    """Texts that go with the names: of people, notes of recordings, names of their files, places of visits."""
    visits, recordings = casebook.visits(), casebook.recordings()
    said = {
        *(e.name for e in casebook.examiners()),
        *(v.examiner for v in visits),
        *(o.player for o in casebook.touch_opinions()),
        *(t.player for t in casebook.touch_trials()),
        *(r.note for r in recordings),
        *(r.original_name for r in recordings),
    }
    return tuple(sorted(text for text in said if text.strip()))


def further_of(decision: Decided) -> tuple[Further, ...]:
    """Touch as the players felt it, and for each piano what its life, its year and the move to the home look like."""
    folds = []
    if decision.touch.answers or decision.touch.fits:
        folds.append(_touch(decision.touch))
    for a in decision.comparison.assessments:
        i = a.piano.id
        folds.append(further("How long its parts may last", decision.lives[i], piano_id=i))
        folds.append(_money(decision.years[i], i))
        folds.append(_room(decision.rooms[i], i))
        if (holding := decision.holding.get(i)) is not None:
            folds.append(_holding(holding, i))
        if (pedal := decision.pedals.get(i)) is not None:
            folds.append(_pedal(pedal, i))
    return tuple(folds)


def _money(money: MoneyOverYears, piano_id: str) -> Further:
    rows = tuple(tuple(str(cell) for cell in row) for row in money.shown())
    return Further(
        title="Money over the years",
        sentences=money.sentences,
        header=tuple(money.header),
        rows=rows,
        piano_id=piano_id,
        about_money=True,
    )


def _holding(holding: Holding, piano_id: str) -> Further:
    drawn = holding if holding.keys and holding.state == COMPARED else None
    said = holding.headline() if holding.state == COMPARED else NOT_COMPARED.get(holding.state, holding.state)
    sentences = (said, *holding.notes)
    return Further(title="Has it held its tuning", sentences=sentences, piano_id=piano_id, chart_of=drawn)


def _pedal(pedal: LeftPedal, piano_id: str) -> Further:
    known = any(v is not None for r in pedal.registers for v in (r.level_db, r.colour_lowest_db))
    drawn = pedal if known else None
    return Further(title="The left pedal", sentences=pedal.statements, piano_id=piano_id, chart_of=drawn)


def _room(change: RoomChange, piano_id: str) -> Further:
    return Further(
        title="From that room to yours",
        sentences=(change.sentence, *_echo(change.heard), *_cautions(change)),
        piano_id=piano_id,
        chart_of=change if change.known else None,
    )


def _echo(heard: HeardTime | None) -> tuple[str, ...]:
    """The reverberation heard beside the calculated one."""
    if heard is None:
        return ()
    said = f"Echo in the recording: {heard.heard_s:.1f} s"
    if heard.calculated_s is None:
        return (f"{said}; {heard.text}",)
    c = heard.calculated_s
    unlike = "" if heard.agrees else "; they disagree, so the recording was left aside here"
    return (f"{said}; calculated for that room {c.middle:.1f} s ({c.low:.1f} to {c.high:.1f}){unlike}",)


def _cautions(change: RoomChange) -> list[str]:
    """What nobody noted, what the calculation can't know, then what was assumed of each room in one line."""
    noted = [as_sentence(text) for text in change.not_noted]
    if not change.known:
        return noted
    rooms = (("showroom", change.showroom), ("home", change.home))
    return [
        *noted,
        *general_cautions(change.showroom, change.home),
        *(f"{name}: {'; '.join(room.assumed)}." for name, room in rooms if room.assumed),
    ]


def _touch(view: TouchView) -> Further:
    """Who said what, a row for each scale and a column for each piano."""
    pianos = list(dict.fromkeys(a.piano for a in view.answers))
    said = {(a.scale, a.piano): ", ".join(f"{p} {v}" for p, v in a.said) for a in view.answers}
    ends = {
        a.scale: f"{a.scale} (1: {short_end(a.ends[0])}; 5: {short_end(a.ends[1])})" for a in view.answers
    }
    players = dict.fromkeys(p for a in view.answers for p, _ in a.said)
    return Further(
        title="How the touch feels",
        sentences=(
            f"{listed(players)} played {listed(pianos)} and said how it felt"
            if players
            else "nobody has said how it felt",
            *view.sentences,
        ),
        header=("from 1 to 5", *pianos),
        rows=tuple((ends[scale], *(said.get((scale, p), "–") for p in pianos)) for scale in ends),
        names_people=True,
    )


def days_of(decision: Decided) -> dict[str, tuple[date, ...]]:
    """The days of those visits whose findings were judged, by piano id."""
    judged = {i: {f.visit_id for f in found} for i, found in decision.findings.items()}
    return {
        p.id: tuple(v.day for v in decision.casebook.visits(p.id) if v.id in judged.get(p.id, ()))
        for p in decision.pianos
    }


def page_of(decision: Decided, *, leave_out: Sequence[str] = ()) -> str:
    """The comparison page as HTML text, with photos from the casebook and what else follows from the decision."""
    photos, photo_lines = photos_of(decision.casebook, decision.pianos)
    return comparison_page(
        decision.comparison,
        surveys=decision.surveys,
        findings=decision.findings,
        checklist=decision.checklist,
        enclosed=Enclosures(
            clips=decision.clips,
            claims=decision.claims,
            photos=photos,
            days=days_of(decision),
            provenance={**decision.provenance, **photo_lines},
            further=further_of(decision),
        ),
        leave_out=left_out(decision, leave_out),
        private=private_words(decision.casebook),
    )


def tables_of(decision: Decided, *, leave_out: Sequence[str] = ()) -> dict[str, str]:
    """The same content as CSV texts by file name."""
    return csv_tables(
        decision.comparison,
        surveys=decision.surveys,
        findings=decision.findings,
        checklist=decision.checklist,
        leave_out=left_out(decision, leave_out),
        private=private_words(decision.casebook),
    )


def left_out(decision: Decided, wanted: Sequence[str]) -> tuple[str, ...]:
    """What stays out: what somebody wants left out, and all money where none could be reckoned."""
    return tuple(dict.fromkeys([*wanted, *(["prices"] if decision.no_money else [])]))


@dataclass(frozen=True, kw_only=True, repr=False)
class Written(Showable):
    """What an export wrote, which of it was there before and has been replaced, as was asked, and from what.

    ``notes`` says what a reader of the page should know, such as that it was compared without money.
    """

    paths: tuple[Path, ...]
    replaced: tuple[Path, ...]
    decision: Decided
    header = ("file", "note")

    @property
    def notes(self) -> tuple[str, ...]:
        return self.decision.notes

    def headline(self) -> str:
        return f"written: {', '.join(str(p) for p in self.paths)}"

    def rows(self) -> list[Row]:
        return [(str(p), "replaced" if p in self.replaced else "") for p in self.paths]


@stoppable("Nothing was written; what was there before is as it was.")
def write_out(
    casebook: Casebook,
    decided: Callable[[], Decided],
    html: str | Path | None = None,
    *,
    tables: str | Path | None = None,
    leave_out: Sequence[str] = (),
    replace: bool = False,
    progress: Progress | None = None,
) -> Written:
    """Write page, tables or both of what is decided once the places are known to be free; see `pianolab.export`."""
    if html is None and tables is None:
        raise BadInput("export", "nowhere to write", "a file for the page, a folder for the tables, or both")
    tell, page = progress or quiet, None if html is None else Path(html)
    check_choices(leave_out)
    own = tuple(own_files(casebook.folder))
    _check_free(page, tables, inputs=own, replace=replace)
    decision = decided()
    contents = {}
    if page is not None:
        tell("cutting the clips", 0.8)
        contents[page] = page_of(decision, leave_out=leave_out).encode("utf-8")
    if tables is not None:
        contents |= table_files(Path(tables), tables_of(decision, leave_out=leave_out))
    there = tuple(p for p in contents if p.exists())
    tell("writing", 0.9)
    write_files(contents, folder=None if tables is None else Path(tables), inputs=own, replace=replace)
    tell("written", 1.0)
    return Written(paths=tuple(contents), replaced=there, decision=decision)


def _check_free(
    page: Path | None, folder: str | Path | None, *, inputs: Sequence[Path], replace: bool
) -> None:
    """What can be known of the places before the work begins; which tables there are of pianos shows after it."""
    places = [page]
    if folder is not None:
        check_folder(Path(folder))
        if page is not None and os.path.abspath(page) == os.path.abspath(folder):
            raise BadInput(str(page), "the same place for page and tables", "a place of its own for each")
        places += [Path(folder) / name for name in ALWAYS]
    check_outputs(*places, inputs=inputs, replace=replace)
    for path in (page, places[-1]):
        if path is not None and (path is page or path.parent.exists()):
            check_place(path)
