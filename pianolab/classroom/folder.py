"""A class is a folder: the teacher makes it, every pupil has a desk in it, results are gathered from the desks.

Where the school has a PostgreSQL server, the class's casebook lies there and all desks write into it at
once. Either way a pupil is a first name or a number; nothing else is kept, and nothing leaves these places.
"""

from __future__ import annotations

import json
import os
import shutil
import tomllib
from collections.abc import Iterable
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from pianolab.casebook import Casebook, create_casebook, open_casebook, pupil_access, without_password
from pianolab.casebook.pupils import name_of_place
from pianolab.classroom.answer_ids import Standing, desk_name, mark_of, standing_of, trace_of
from pianolab.classroom.collecting import first_counts, gather_each, make_sure, note_removed, together
from pianolab.classroom.desk import PUPILS, WRITER, Desk, desks_in, opened
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Answer, check_pupil

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pianolab.casebook import GatherResult

CLASS_FILE, GATHERED, REMOVED = "class.toml", "gathered", "removed.txt"


@dataclass(frozen=True, kw_only=True)
class SchoolClass:
    """A class: its folder and what was decided when it was made.

    ``same_set``: every pupil gets the same drills (to talk about them together), else each their own, harder as
    they get better. ``database``: URL of a casebook on a server, empty for files. ``id`` tells this class from
    others that share a server, and stays when the class is renamed or its folder moved.
    """

    folder: Path
    name: str
    seed: int
    id: str
    same_set: bool = True
    database: str = field(default="", repr=False)

    def desk(self, pupil: str | int) -> Desk:
        """The place where one pupil works; made when it is first written to."""
        return Desk(school=self, pupil=check_pupil(str(pupil)))

    def desks(self) -> tuple[Path, ...]:
        """Folders of the pupils who have worked here (none where the class lies on a server)."""
        return desks_in(self.folder)

    def own_files(self) -> tuple[Path, ...]:
        """What no page may be written over: the class itself, and the list of who was removed."""
        return self.folder / CLASS_FILE, self.folder / REMOVED

    def gather(self, more: str | Path | Iterable[str | Path] = ()) -> GatherResult | None:
        """Bring all pupils' answers together; as often as one likes, nothing is lost or doubled.

        Parameters
        ----------
        more : pupils' folders that came from elsewhere, on a stick or by mail, or whole copies of the class's folder

        Returns
        -------
        GatherResult, or None where there is nothing to gather; a folder that can't be read stands among its
        problems, and the others are gathered all the same; so does a task that was answered on two machines: the
        first answer counts. A folder brings, changes and removes nothing of another pupil's, whatever it says

        Raises
        ------
        BadInput : the folder of another class
        CasebookError : the class's own casebook can't be opened, or none of the folders can be read or is of this class
        """
        if not self.database:
            self.check_place()
        given = [Path(path) for path in ([more] if isinstance(more, (str, Path)) else more)]
        for path in given:
            self._check_copy(path)
        places = [*self.desks(), *(place for path in given for place in desks_in(path) or [path])]
        if not places:
            return None
        with self.book():
            into = self.database or self.folder / GATHERED
        done, refused = gather_each(places, into=into, class_id=self.id)
        with self.book() as book:
            self._bury(book, self.has_removed)
            twice = first_counts(book, mark=mark_of(self.id), by=WRITER)
            left = book.conflicts()
        return together(done, conflicts=left, problems=[*refused, *twice])

    def _check_copy(self, path: Path) -> None:
        """Refuse the folder of another class; a copy of this one may have another name."""
        if (path / CLASS_FILE).is_file() and (other := open_class(path)).id != self.id:
            got = f"the folder of another class, {other.name!r}"
            raise BadInput(
                str(path), got, f"pupils' folders or a copy of {self.name!r}", "Nothing was taken in."
            )

    @contextmanager
    def book(self) -> Iterator[Casebook]:
        """The class's casebook, with all that was gathered."""
        place = self.database or self.folder / GATHERED
        if not self.database:
            self.check_place()
            make_sure(self.folder / GATHERED)
        with open_casebook(place) as book:
            yield book

    def access(self, pupil: str | int) -> str:
        """What lets one pupil in, where the class lies on a server: a URL for ``open_class(folder, database=…)``.

        The server itself sees to it that a pupil adds and reads nothing but their own answers. Asked again, it gives a
        new password, and the old one is void.

        Raises
        ------
        BadInput : a class of files, where nobody needs a password
        CasebookError : a role that may not make others
        """
        if not self.database:
            raise BadInput(
                self.name, "a class of files", "a class on a server", "Everybody has a folder of their own."
            )
        return pupil_access(self.database, check_pupil(str(pupil)))

    def check_place(self) -> None:
        """Whether the class still lies where it was opened; what is answered would be kept where nobody looks.

        Raises
        ------
        BadInput : its folder was moved or deleted meanwhile
        """
        if not (self.folder / CLASS_FILE).is_file():
            got, need = "no class there any more", "the folder as it was opened"
            raise BadInput(str(self.folder), got, need, "Was it moved? open_class opens it anew.")

    def answers(self) -> tuple[Answer, ...]:
        """All answers of this class that were gathered (on a server: given), in order of entry."""
        counted = [a for a in self._all() if standing_of(a, class_id=self.id) == "counts"]
        gone = {pupil for pupil in {a.pupil for a in counted} if self.has_removed(pupil)}
        return tuple(a for a in counted if a.pupil not in gone)

    def left_out(self) -> tuple[tuple[Answer, Standing], ...]:
        """Answers in the class's casebook that don't count, and why: another class's, or changed by hand."""
        told = ((a, standing_of(a, class_id=self.id)) for a in self._all())
        return tuple((a, why) for a, why in told if why != "counts")

    def _all(self) -> Sequence[Answer]:
        with self.book() as book:
            return opened(book.answers(), class_id=self.id)

    def pupils(self) -> tuple[str, ...]:
        """Who has answered, in order."""
        return tuple(sorted({a.pupil for a in self.answers()}))

    def remove(self, pupil: str | int) -> int:
        """Remove a pupil's results for good, from the class's casebook and from the pupil's own folder.

        Returns
        -------
        int, how many answers there were; copies that are gathered later bring nothing of theirs back, and who comes
        back takes another name or number

        Raises
        ------
        BadInput : the pupil's own folder can't be deleted; the class's casebook holds nothing of theirs then
        """
        name = check_pupil(str(pupil))
        # What can't be read any more goes all the same.
        with suppress(CasebookError):
            self.gather()
        note_removed(self.folder / REMOVED, trace_of(name, class_id=self.id))
        with self.book() as book:
            count = self._bury(book, lambda pupil: pupil == name)
        own = self.folder / PUPILS / desk_name(name)
        if own.exists():
            try:
                shutil.rmtree(own)
            except OSError as error:
                got = f"a folder that can't be deleted ({error.strerror})"
                raise BadInput(
                    str(own), got, "permission to delete it", "Is it open elsewhere? Delete it yourself."
                ) from None
        return count

    def has_removed(self, pupil: str) -> bool:
        """Whether this pupil's results were removed for good; known by a trace that names nobody."""
        file = self.folder / REMOVED
        return (
            file.is_file() and trace_of(pupil, class_id=self.id) in file.read_text(encoding="utf-8").split()
        )

    def _bury(self, book: Casebook, gone: Callable[[str], bool]) -> int:
        """Remove all answers of pupils who are gone; how many."""
        # On a server other classes lie beside this one; in a folder of its own nothing else has a right to be.
        own = [a for a in book.answers() if not self.database or a.id.startswith(mark_of(self.id))]
        leaving = {pupil for pupil in {a.pupil for a in own} if gone(pupil)}
        ids = [a.id for a in own if a.pupil in leaving]
        if ids:
            book.purge(ids, by=WRITER)
        return len(ids)


def make_class(
    folder: str | Path, *, name: str, seed: int | None = None, same_set: bool = True, database: str = ""
) -> SchoolClass:
    """Make a class in a new or empty folder.

    Parameters
    ----------
    folder : where it lies; copy it to the pupils' machines, or share it
    name : what the class is called
    seed : for its drills; None draws one
    same_set : the same drills for all, or each their own
    database : ``postgresql://…`` of a casebook on the school's server; it is made where it isn't there. The class's
        folder gets the address only, never a password: each pupil has a name and password of their own by
        `SchoolClass.access`

    Raises
    ------
    BadInput : no name, or a folder that isn't empty
    CasebookError : a server that can't be reached

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     made = make_class(Path(place) / "tuesday", name="Tuesday", seed=4)
    ...     open_class(made.folder) == made
    True
    """
    folder = Path(folder)
    if not name.strip() or not name.strip().isprintable():
        got = "an empty name" if not name.strip() else "unseen characters"
        raise BadInput("name", got, "what the class is called")
    if seed is not None and (isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 2**63):
        raise BadInput("seed", repr(seed)[:40], "a whole number from 0 on")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(
            str(folder),
            "a folder that isn't empty",
            "a new or empty folder",
            "open_class opens one that is there.",
        )
    if database:
        _on_server(database)
    (folder / PUPILS).mkdir(parents=True)
    values: dict[str, Any] = {
        "name": name.strip(),
        "id": uuid4().hex[:12],
        "seed": int.from_bytes(os.urandom(4), "big") if seed is None else seed,
        "same_set": same_set,
        "database": without_password(database) if database else "",
    }
    text = "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in values.items())
    temporary = folder / f".{CLASS_FILE}.{uuid4().hex}.part"
    temporary.write_text(text, encoding="utf-8")
    temporary.replace(folder / CLASS_FILE)
    return open_class(folder, database=database)


def _on_server(url: str) -> None:
    try:
        open_casebook(url).close()
    except CasebookError:
        create_casebook(url).close()


def open_class(folder: str | Path, *, database: str = "") -> SchoolClass:
    """Open a class by its folder.

    Parameters
    ----------
    folder : where it lies
    database : of a class on a server, the URL with one's own name and password; empty where PGPASSWORD or ``~/.pgpass``
        hold the password of whoever made the class

    Raises
    ------
    BadInput : no class in it, a class file that can't be read, or the URL of another database
    """
    folder = Path(folder)
    file = folder / CLASS_FILE
    if not file.is_file():
        raise BadInput(
            str(folder),
            "a folder without a class",
            "the folder of a class",
            "The folder above or below? make_class makes one.",
        )
    try:
        values = tomllib.loads(file.read_text(encoding="utf-8"))
        seed = int(values["seed"])
        if seed < 0 or not str(values["id"]).isalnum():
            raise ValueError("a seed below 0, or an id that isn't letters and numbers")
        return SchoolClass(
            folder=folder,
            name=str(values["name"]),
            seed=seed,
            id=str(values["id"]),
            same_set=bool(values["same_set"]),
            database=_own(str(values.get("database", "")), database, file=file),
        )
    except BadInput:
        raise
    except (KeyError, ValueError, TypeError, OverflowError, RecursionError) as error:
        raise BadInput(
            str(file), "a class file that can't be read", "name, id, seed and same_set", f"{error}."
        ) from None


def _own(kept: str, given: str, *, file: Path) -> str:
    """The URL that somebody gave for the database which a class file names."""
    if not given:
        return kept
    if not kept or name_of_place(kept) != name_of_place(given):
        got = "a URL of another database" if kept else "a URL for a class that lies on no server"
        raise BadInput(str(file), got, f"one of {name_of_place(kept)}" if kept else "none")
    return given
