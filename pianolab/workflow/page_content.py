"""What the page of a casebook shows beside the comparison: photos, touch, rooms, remaining life, cost of a year."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from pianolab.casebook import Casebook
from pianolab.errors import PianolabError
from pianolab.model import Photo, Piano
from pianolab.report import Further, Picture, further, scaled_picture
from pianolab.workflow.deciding import Decision

MOST_PHOTOS = 8
"""Of one piano on the page, those with a point first; the others stay in the casebook."""


def photos_of(
    casebook: Casebook, pianos: Sequence[Piano]
) -> tuple[dict[str, tuple[Picture, ...]], dict[str, str]]:
    """Scaled photos by piano id, latest visit first, and lines for the page's end: hashes, and what is not shown."""
    shown, lines = {}, {}
    for piano in pianos:
        photos = [p for visit in reversed(casebook.visits(piano.id)) for p in casebook.photos(visit.id)]
        if not photos:
            continue
        photos.sort(key=lambda p: not p.point)
        made = {p.id: _scaled(casebook, p) for p in photos[:MOST_PHOTOS]}
        shown[piano.id] = tuple(picture for picture in made.values() if picture is not None)
        lines[f"Photos of {piano.name}"] = _origin(photos, made)
    return shown, lines


def _scaled(casebook: Casebook, photo: Photo) -> Picture | None:
    try:
        return scaled_picture(casebook.media_path(photo.media), caption=photo.caption, point=photo.point)
    except PianolabError:  # said at the end of the page
        return None


def _origin(photos: Sequence[Photo], made: Mapping[str, Picture | None]) -> str:
    hashes = [Path(p.media).stem[:16] for p in photos if made.get(p.id) is not None]
    broken = sum(picture is None for picture in made.values())
    said = [f"SHA-256 {', '.join(hashes)}"] if hashes else []
    said += [f"{broken} can't be shown, their files are gone or damaged"] if broken else []
    said += [f"{len(photos) - len(made)} more in the casebook"] if len(photos) > len(made) else []
    return "; ".join(said)


def further_of(decision: Decision) -> tuple[Further, ...]:
    """Touch as the players felt it, and for each piano what its life, its year and the move to the home look like."""
    folds = []
    if decision.touch.answers or decision.touch.fits:
        folds.append(further("Touch", decision.touch, sentences=decision.touch.sentences, names_people=True))
    for a in decision.comparison.assessments:
        i = a.piano.id
        folds.append(further("How long its parts may last", decision.lives[i], piano_id=i))
        folds.append(further("What a year costs", decision.yearly[i], piano_id=i, about_money=True))
        room = decision.rooms[i]
        folds.append(
            further("From that room to yours", room, sentences=(room.sentence, *room.cautions), piano_id=i)
        )
    return tuple(folds)
