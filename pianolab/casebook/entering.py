"""What only the casebook can say of a record that is entered: is the name free, is the point known, is the file here?

Only what an edit changes is looked at: a record that was there before a rule, or before another checklist, can
still be said more of.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from pianolab.casebook import tables
from pianolab.casebook.codec import from_json
from pianolab.casebook.kept_settings import read_settings
from pianolab.checklist import Checklist, load_checklist, load_touch_scales, read_checklist
from pianolab.checklist.entry import check_finding, check_point
from pianolab.errors import BadInput
from pianolab.model import (
    Buyer,
    Comparable,
    Finding,
    Photo,
    Piano,
    Recording,
    SurveyRecord,
    TouchOpinion,
    Visit,
)
from pianolab.model.records import VALUES

_BODY = sa.select(tables.record.c.body).where(tables.record.c.id == sa.bindparam("wanted"))
_PIANOS = sa.select(tables.record.c.id, tables.record.c.body).where(
    tables.record.c.kind == "Piano", tables.record.c.deleted.is_(False)
)
_VISITS = sa.select(tables.record.c.body).where(
    tables.record.c.kind == "Visit",
    tables.record.c.piano_id == sa.bindparam("wanted"),
    tables.record.c.deleted.is_(False),
)
_MEDIA = sa.select(tables.media.c.name).where(tables.media.c.name == sa.bindparam("wanted"))
BY_POINT = ("point", "keys", "state", *VALUES)
"""What of a finding its point and its piano have a say in."""


class Entry:
    """One record on its way into a casebook, beside what was there of it; its checks ask the open transaction."""

    def __init__(
        self, connection: sa.Connection, record: Any, *, before: Any, checklist: Callable[[], Checklist]
    ) -> None:
        self._connection, self._record, self._before = connection, record, before
        self._checklist = checklist

    def check(self) -> None:
        """Refuse what this casebook can't hold.

        Raises
        ------
        BadInput
            a second piano of one name, or one built after a visit to it; a point that the checklist hasn't, a value
            or keys that can't be there; a scale of touch that nobody knows; a sound or photo that isn't in the media
            folder; a price of another kind of piano or in another currency; text that is no survey
        """
        checks: dict[type, Callable[[], None]] = {
            Piano: self._check_piano,
            Visit: self._check_day,
            Comparable: self._check_comparable,
            TouchOpinion: lambda: self._check_scales("taste", "faults"),
            Buyer: lambda: self._check_scales("touch_taste"),
            Finding: self._check_finding,
            Photo: self._check_photo,
            Recording: lambda: self._check_media("edit.add_sound"),
            SurveyRecord: self._check_survey,
        }
        checks.get(type(self._record), lambda: None)()

    def _changes(self, *names: str) -> bool:
        before = self._before
        return before is None or any(getattr(before, n) != getattr(self._record, n) for n in names)

    def _check_piano(self) -> None:
        piano: Piano = self._record
        if self._changes("name"):
            self._check_name(piano)
        if self._changes("year") and piano.year is not None:
            for (body,) in self._connection.execute(_VISITS, {"wanted": piano.id}):
                day = from_json("Visit", body).day
                if day.year < piano.year:
                    got, need = f"{piano.year} built", f"{day.year} or earlier, when there was a visit to it"
                    raise BadInput(f"Piano {piano.name!r}, year", got, need)

    def _check_name(self, piano: Piano) -> None:
        own = same_name(piano.name)
        for identity, body in self._connection.execute(_PIANOS):
            if identity != piano.id and same_name(str(json.loads(body)["name"])) == own:
                got = "the name of another piano in this casebook"
                raise BadInput(f"Piano {piano.name!r}", got, "a name of its own", "Entered twice?")

    def _check_day(self) -> None:
        visit: Visit = self._record
        if self._changes("day", "piano_id"):
            piano: Piano = self._read("Piano", visit.piano_id)
            if piano.year is not None and visit.day.year < piano.year:
                need = f"a day from {piano.year} on, when it was built"
                raise BadInput(f"Visit to {piano.name}, day", visit.day.isoformat(), need)

    def _check_comparable(self) -> None:
        """A price can stand beside a piano of its own kind and currency only: nobody here knows a rate."""
        seen: Comparable = self._record
        if not self._changes("piano_id", "kind", "currency"):
            return
        pianos = self._pianos_beside(seen)
        codes = sorted({p.currency for p in pianos if p.asking_price is not None})
        if codes and seen.currency not in codes:
            hint = "Enter it in that currency, by the rate you trust."
            raise BadInput("Comparable, currency", seen.currency, " or ".join(codes), hint)
        if seen.piano_id and pianos[0].kind != seen.kind:
            raise BadInput(f"Comparable for {pianos[0].name}, kind", seen.kind, pianos[0].kind)

    def _pianos_beside(self, seen: Comparable) -> list[Piano]:
        """The piano that a price was looked up for, or all of its kind."""
        if seen.piano_id:
            return [self._read("Piano", seen.piano_id)]
        every = [from_json("Piano", body) for _, body in self._connection.execute(_PIANOS)]
        return [piano for piano in every if piano.kind == seen.kind]

    def _check_scales(self, *names: str) -> None:
        scales = load_touch_scales()
        taste, faults = [s.id for s in scales.taste], [s.id for s in scales.faults]
        for name in names:
            known = faults if name == "faults" else taste
            unknown = [scale for scale in getattr(self._record, name) if scale not in known]
            if unknown and self._changes(name):
                who = f"{type(self._record).__name__} {getattr(self._record, self._record.known_by)!r}"
                raise BadInput(f"{who}, {name}", repr(unknown[0]), "one of " + ", ".join(known), "Misspelt?")

    def _check_finding(self) -> None:
        finding: Finding = self._record
        if not self._changes(*BY_POINT):
            return
        checklist = self._checklist()
        # A point that was entered by another checklist stays, and its values with it.
        if self._changes("point") or finding.point in checklist:
            check_finding(finding, checklist, self._piano_at(finding.visit_id))

    def _check_photo(self) -> None:
        photo: Photo = self._record
        if photo.point and self._changes("point"):
            check_point(photo.point, self._checklist(), about=f"{self._piano_at(photo.visit_id).name}, photo")
        self._check_media("edit.add_photo")

    def _check_media(self, method: str) -> None:
        media = self._record.media
        if self._changes("media") and self._connection.execute(_MEDIA, {"wanted": media}).first() is None:
            kind = type(self._record).__name__
            raise BadInput(
                f"{kind} {media!r}", "no such file in this casebook", f"{method}, which brings it there"
            )

    def _check_survey(self) -> None:
        record: SurveyRecord = self._record
        recording = self._read("Recording", record.recording_id)
        if recording.visit_id != record.visit_id:
            raise BadInput("SurveyRecord, visit_id", "another visit than its recording's", "the same visit")
        if not self._changes("survey_json"):
            return
        from pianolab.acoustics import Survey  # heavy, and asked for by a survey only

        try:
            Survey.from_json(record.survey_json)
        except (ValueError, TypeError, KeyError, AttributeError):
            raise BadInput("SurveyRecord", "text that is no survey", "what Survey.to_json makes") from None

    def _piano_at(self, visit_id: str) -> Piano:
        visit = self._read("Visit", visit_id)
        found: Piano = self._read("Piano", visit.piano_id)
        return found

    def _read(self, kind: str, record_id: str) -> Any:
        return from_json(kind, self._connection.execute(_BODY, {"wanted": record_id}).scalar_one())


def same_name(name: str) -> str:
    """What two names have in common that a reader would take for one.

    Examples
    --------
    >>> same_name("By the  Window") == same_name("by the window")
    True
    """
    return " ".join(unicodedata.normalize("NFC", name).casefold().split())


def kept_checklist(connection: sa.Connection, *, name: object) -> Checklist:
    """The points a casebook is entered by: its own on top of the usual ones where it keeps some."""
    own = read_settings(connection, name=name).checklist
    return load_checklist() if own is None else _own_checklist(own.text, own.name)


@lru_cache(maxsize=4)
def _own_checklist(text: str, file: str) -> Checklist:
    return read_checklist(text, file=file)
