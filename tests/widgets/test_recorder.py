"""The recorder as state: pieces in, confirmations out, what is asked for next, what is kept, offered, refused."""

from __future__ import annotations

import io
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pytest
import soundfile
from recorder_lab import Told

from pianolab.acoustics import Survey
from pianolab.casebook.arrived import waiting
from pianolab.casebook.arriving import place_for
from pianolab.errors import BadInput
from pianolab.io import read_sound
from pianolab.model import Capture, Piano, Visit
from pianolab.release import code_version
from pianolab.sound_model import PianoModel, render_scale
from pianolab.widgets.recorder import RecorderForm
from pianolab.widgets.recorder_keeping import short_measure

RATE = 24000
FRAMES = RATE // 4
PROCESSING = {"echoCancellation": "off", "noiseSuppression": "off", "autoGainControl": "unknown"}


@cache
def scale(first: int = 40, last: int = 46, *, peak_db: float = -6.0) -> Any:
    sound = render_scale(
        PianoModel(seed=9),
        first_key=first,
        last_key=last,
        hold_s=1.4,
        gap_s=0.5,
        rate_hz=RATE,
        snr_db=50.0,
        peak_db=peak_db,
    )
    return np.round(sound.samples * 2**15).astype(np.int64) * 256


def pack(samples: Any) -> bytes:
    wide = np.asarray(samples, "<i4").reshape(-1, 1).view(np.uint8).reshape(-1, 4)
    return bytes(wide[:, :3].tobytes())


class Page:
    """Plays the page: what it sends, and what it was told."""

    def __init__(self, form: RecorderForm, monkeypatch: pytest.MonkeyPatch, name: str = "p1") -> None:
        self.form, self.name, self.told = form, name, list[dict[str, Any]]()
        monkeypatch.setattr(form, "send", lambda message, **_: self.told.append(message))

    def send(self, do: str, data: bytes | None = None, **event: Any) -> None:
        self.form._handle_custom_msg({"do": do, **event}, [] if data is None else [memoryview(data)])

    def begin(self, what: str = "all", **more: Any) -> None:
        self.send("begin", page=self.name, rate_hz=RATE, channels=1, processing=PROCESSING, what=what, **more)

    def piece(self, number: int, sound: Any) -> None:
        samples = pack(sound[number * FRAMES : (number + 1) * FRAMES])
        clock_ms = 250.0 * (number + 1)
        self.send(
            "piece", samples, page=self.name, number=number, first_frame=number * FRAMES, clock_ms=clock_ms
        )

    def play(self, sound: Any, numbers: Any = None) -> int:
        count = -(-len(sound) // FRAMES)
        for n in range(count) if numbers is None else numbers:
            self.piece(n, sound)
        return count

    @property
    def had(self) -> set[int]:
        return {n for m in self.told if m["says"] == "have" for n in m["numbers"]}


@pytest.fixture
def book_and_page(visit_and_book, monkeypatch):
    book, visit = visit_and_book
    return book, Page(RecorderForm(book, visit, apart=False), monkeypatch)


@pytest.mark.slow
def test_a_scale_from_the_microphone_into_the_casebook(book_and_page) -> None:
    book, page = book_and_page
    page.begin("all", keys=list(range(40, 47)), blow="soft")
    asked = []
    for n in range(-(-len(scale()) // FRAMES)):
        page.piece(n, scale())
        asked.append(page.form.playing.get("key"))
    assert asked[0] == 40
    assert [k for i, k in enumerate(asked) if i == 0 or k != asked[i - 1]][:-1] == list(range(40, 47))
    assert page.had == set(range(len(asked)))
    page.send("end", page=page.name, count=len(asked))
    assert page.told[-1] == {"says": "ended", "page": "p1"}
    (recording,) = book.recordings()
    assert (recording.rate_hz, recording.first_key, recording.last_key, recording.note) == (
        RATE,
        40,
        46,
        "Softly",
    )
    sound = read_sound(book.media_path(recording.media))
    assert np.array_equal(np.round(sound.samples[:, 0] * 2**23).astype(int), scale())
    assert recording.capture == Capture(echo_cancellation="off", noise_suppression="off")
    (record,) = book.surveys()
    assert record.version == code_version("acoustics")
    assert "didn't say whether its automatic gain was off" in record.survey_json
    assert page.form.line.startswith("Kept: 7 of 7 keys measured")
    states = {k: v["state"] for k, v in page.form.playing["states"].items()}
    assert states == {str(k): "found" for k in range(40, 47)}
    assert waiting(place_for(book)) == ()
    still = page.form.to_html()
    assert "Keys read: C4 to F#4." in still
    assert still.count("<circle") == 7


@pytest.mark.slow
def test_a_wrong_key_is_named_and_the_right_one_goes_on_being_asked_for(book_and_page) -> None:
    _, page = book_and_page
    page.begin("all", keys=list(range(42, 47)))
    page.play(scale(), range(9))  # C4 and the beginning of C#4, where D4 is asked for
    assert (page.form.playing["note"], page.form.playing["wrong"]) in {("D4", "C4"), ("D4", "C#4")}
    page.play(scale(), range(9, 26))
    assert page.form.playing["states"]["42"]["state"] == "found"


@pytest.mark.slow
def test_pause_back_repeat_leave_out_and_silent(book_and_page) -> None:
    _, page = book_and_page
    page.begin("all", keys=[40, 41, 42])
    page.send("guide", what="leave out")
    page.send("guide", what="silent")
    assert page.form.playing["key"] == 42
    page.send("guide", what="back")
    assert page.form.playing["key"] == 41
    page.send("guide", what="pause")
    page.play(scale())
    assert page.form.playing["key"] == 41
    assert page.form.playing["paused"]
    page.send("guide", what="resume")
    page.send("guide", what="go", key=40)
    assert page.form.playing["key"] == 40
    assert page.form.playing["states"]["40"]["state"] == "to play"


@pytest.mark.slow
def test_clipped_keys_are_to_be_played_again(book_and_page) -> None:
    _, page = book_and_page
    loud = np.clip(scale(peak_db=-0.0) * 4, -(2**23), 2**23 - 1)
    page.begin("all", keys=list(range(40, 47)))
    page.play(loud)
    states = page.form.playing["states"]
    assert [k for k, v in states.items() if v["why"] == ["clipped"]]
    assert all(v["state"] == "again" for v in states.values() if v["why"])


@pytest.mark.slow
def test_a_hole_in_the_sound_marks_its_key_and_the_file_says_so(book_and_page) -> None:
    book, page = book_and_page
    holed = scale().copy()
    at = 4 * FRAMES + 3000
    holed[at : at + RATE // 100] = 0
    page.begin("all", keys=list(range(40, 47)))
    count = page.play(holed)
    again = [k for k, v in page.form.playing["states"].items() if "gap" in v["why"]]
    assert len(again) == 1
    page.send("end", page=page.name, count=count)
    (part,) = [p for p in page.form.leaving["parts"] if "missing" in p["text"]]
    assert [str(k["key"]) for k in part["keys"]] == again
    assert [g["kind"] for g in page.form.leaving["gaps"]] == ["silence put in"]
    (recording,) = book.recordings()
    assert recording.capture is not None
    assert [g.kind for g in recording.capture.gaps] == ["silence put in"]
    heard = Survey.from_json(book.surveys()[0].survey_json)
    (told,) = [q for q in heard.summary.quality if "sound is missing" in q]
    assert f"in the notes of {part['keys'][0]['note']}: play these again" in told


@pytest.mark.slow
def test_a_second_take_mends_what_a_hole_took_and_a_take_of_other_keys_does_not(book_and_page) -> None:
    _, page = book_and_page
    holed = scale().copy()
    at = 4 * FRAMES + 3000
    holed[at : at + RATE // 100] = 0
    page.begin("all", keys=list(range(40, 47)))
    page.send("end", page=page.name, count=page.play(holed))
    (key,) = in_gaps(page)
    for name, other in (("p2", key + 2), ("p3", key)):
        page.name = name
        page.begin("all", keys=[other])
        page.send("end", page=name, count=page.play(scale(other, other)))
        assert in_gaps(page) == ([] if other == key else [key])


def in_gaps(page: Page) -> list[int]:
    return [k["key"] for p in page.form.leaving["parts"] if "missing" in p["text"] for k in p["keys"]]


@pytest.mark.slow
def test_a_second_take_of_what_was_missing_leaves_nothing_to_play(book_and_page) -> None:
    book, page = book_and_page
    page.begin("all", keys=list(range(40, 49)))
    page.send("end", page=page.name, count=page.play(scale()))
    missing = [k["key"] for p in page.form.leaving["parts"] for k in p["keys"]]
    assert {47, 48} <= set(missing)
    page.name = "p2"
    page.begin("all", keys=[47, 48])
    page.send("end", page=page.name, count=page.play(scale(47, 48)))
    left = [k["key"] for p in page.form.leaving["parts"] for k in p["keys"]]
    assert not {47, 48} & set(left)
    assert len(book.surveys()) == 2


@pytest.mark.slow
def test_pieces_that_did_not_come_are_asked_for_and_late_ones_taken(book_and_page) -> None:
    book, page = book_and_page
    page.begin("all", keys=list(range(40, 47)))
    count = -(-len(scale()) // FRAMES)
    page.play(scale(), [n for n in range(count) if n not in (5, 6)])
    page.send("end", page=page.name, count=count)
    assert page.told[-1] == {"says": "missing", "page": "p1", "numbers": [5, 6]}
    assert book.recordings() == ()
    page.play(scale(), [6, 5])
    page.send("end", page=page.name, count=count)
    (recording,) = book.recordings()
    sound = read_sound(book.media_path(recording.media))
    assert np.array_equal(np.round(sound.samples[:, 0] * 2**23).astype(int), scale())


def test_a_kernel_that_died_offers_what_arrived_and_takes_the_rest(visit_and_book, monkeypatch) -> None:
    book, visit = visit_and_book
    first = Page(RecorderForm(book, visit, apart=False), monkeypatch)
    first.begin("all", keys=list(range(40, 47)))
    first.play(scale(), range(20))
    first.form._session.arriving.close()  # the kernel is gone
    second = Page(RecorderForm(book, visit, apart=False), monkeypatch)
    (offer,) = second.form.offered
    assert offer["seconds"] == 5.0
    second.send("hello")
    assert second.told[-1]["pages"] == ["p1", ""]
    second.play(scale(), [20, 21])
    assert second.had == {20, 21}
    second.send("rest", page="p1")
    (offer,) = second.form.offered
    assert offer["seconds"] == 5.5
    second.send("keep", id=offer["id"])
    assert book.recordings()[0].seconds == 5.5
    assert second.form.offered == []


def test_a_page_that_was_closed_is_cut_and_offered(book_and_page) -> None:
    book, page = book_and_page
    page.begin()
    page.play(scale(), range(8))
    page.send("hello")
    assert page.told[-1]["on"] == "p1"
    page.send("cut", page="p1")
    (offer,) = page.form.offered
    assert offer["seconds"] == 2.0
    page.send("discard", id=offer["id"])
    assert page.form.offered == []
    assert book.recordings() == ()


def test_a_recording_python_never_heard_of_is_taken_from_the_page(book_and_page) -> None:
    _, page = book_and_page
    about = {
        "rate_hz": RATE,
        "channels": 1,
        "what": "top",
        "blow": "loud",
        "processing": PROCESSING,
        "page": "p9",
    }
    page.name = "p9"
    samples = pack(scale()[:FRAMES])
    page.send("piece", samples, page="p9", number=0, first_frame=0, clock_ms=1.0, about=about)
    page.send("rest", page="p9")
    (offer,) = page.form.offered
    assert offer["seconds"] == 0.25
    (found,) = waiting(place_for(page.form._casebook))
    assert (found.about.first_key, found.about.note) == (76, "Loudly")


def test_where_the_machine_is_behind_pieces_are_confirmed_first_and_heard_together(
    book_and_page, monkeypatch
) -> None:
    _, page = book_and_page
    now_s = [0.0]
    monkeypatch.setattr("pianolab.widgets.recorder_session.monotonic", lambda: now_s[0])
    page.begin("all", keys=list(range(40, 47)))
    page.play(scale(), range(12))
    heard = list[float]()
    for number in range(12, 36):
        now_s[0] = 100.0  # the page's clock says that this piece was ready long ago
        page.piece(number, scale())
        heard.append(page.form._session.listener.recent.end_s)
        assert number in page.had
    assert len(set(heard)) <= 4  # eight pieces at a time
    page.send("end", page=page.name, count=36)
    assert [page.form.playing["states"][str(k)]["state"] for k in (40, 41, 42)] == ["found"] * 3


def test_late_pieces_go_to_the_visit_at_which_they_were_recorded(book_and_page) -> None:
    book, page = book_and_page
    began_at = page.form.visit
    with book.editing(by="Ana") as edit:
        other = edit.add(Visit(piano_id=edit.add(Piano(name="upstairs")).id, day=date(2026, 5, 28)))
    page.form.visit = other
    about = {"rate_hz": RATE, "what": "all", "page": "p9", "visit": began_at.id}
    samples = pack(scale()[:FRAMES])
    page.send("piece", samples, page="p9", number=0, first_frame=0, clock_ms=1.0, about=about)
    (found,) = waiting(place_for(book))
    assert found.about.visit_id == began_at.id != other.id
    # what a page begins although another visit is shown by now is refused, not put there
    page.begin("all", visit=began_at.id)
    assert "another visit" in page.form.line
    assert page.told[-1] == {"says": "trouble", "do": "begin", "line": page.told[-1]["line"]}
    # pieces of a visit that isn't in this casebook are not confirmed: they stay in the browser
    page.send(
        "piece", samples, page="p8", number=0, first_frame=0, clock_ms=1.0, about={**about, "visit": "v0"}
    )
    assert page.told[-1]["says"] == "trouble"
    assert len(waiting(place_for(book))) == 1


def test_what_the_browser_does_not_say_is_unknown(book_and_page) -> None:
    book, page = book_and_page
    page.send(
        "begin", page="p1", rate_hz=RATE, what="hand clap", processing={"echoCancellation": "off", "x": "off"}
    )
    page.piece(0, scale())
    (found,) = waiting(place_for(book))
    assert found.about.processing == {
        "echoCancellation": "off",
        "noiseSuppression": "unknown",
        "autoGainControl": "unknown",
    }


@pytest.mark.parametrize("purpose", ["damper pedal", "repeated note", "held chord", "hand clap"])
def test_a_short_recording_is_kept_by_its_purpose_and_read_as_no_scale(book_and_page, purpose) -> None:
    book, page = book_and_page
    page.begin(purpose)
    page.play(scale(), range(8))
    page.send("end", page=page.name, count=8)
    assert [r.purpose for r in book.recordings()] == [purpose]
    assert book.surveys() == ()
    told = short_measure(book, book.recordings()[0])
    assert told.headline() in page.form.line


def test_a_file_instead(book_and_page) -> None:
    book, page = book_and_page
    room = io.BytesIO()
    soundfile.write(room, scale() / 2**23, RATE, format="FLAC", subtype="PCM_16")
    data, step = room.getvalue(), 50_000
    shares: list[float] = []
    page.form.observe(lambda c: shares.append(c["new"].get("share", 1.0)), "work")
    for offset in range(0, len(data), step):
        page.send(
            "file",
            data[offset : offset + step],
            name="../me.flac",
            size=len(data),
            offset=offset,
            what="all",
            keys=list(range(40, 47)),
        )
    assert [m["offset"] for m in page.told if m["says"] == "more"] == list(range(step, len(data), step))
    (recording,) = book.recordings()
    assert recording.original_name == "me.flac"
    assert recording.capture is None
    assert len(book.surveys()) == 1
    assert len(set(shares)) > 3
    assert shares == sorted(shares), "what is done never grows less"
    assert shares[0] >= 0.0
    assert shares[-1] <= 1.0
    page.send("file", data, name="me.flac", size=len(data), offset=0, what="all")
    assert "in the casebook already" in page.form.line
    assert book.recordings() == (recording,)


def test_a_clap_from_a_file_is_measured_too(book_and_page) -> None:
    book, page = book_and_page
    room = io.BytesIO()
    soundfile.write(room, scale() / 2**23, RATE, format="WAV", subtype="PCM_16")
    page.send("file", room.getvalue(), name="clap.wav", size=len(room.getvalue()), offset=0, what="hand clap")
    assert short_measure(book, book.recordings()[0]).headline() in page.form.line


@pytest.mark.parametrize(
    ("do", "event", "says"),
    [
        ("begin", {"page": "q", "rate_hz": 8000, "what": "all"}, "telephone"),
        ("begin", {"page": "q", "rate_hz": RATE, "what": "nothing"}, "what to record"),
        ("begin", {"page": "q", "rate_hz": RATE, "what": "all", "keys": [200]}, "keys"),
        ("begin", {"page": "q"}, "can't be read"),
        ("keep", {"id": "none"}, "isn't waiting"),
        ("dance", {}, "message"),
        ("file", {"name": "x", "size": 0, "offset": 0, "what": "all"}, "file: got 0 bytes"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(book_and_page, do, event, says) -> None:
    book, page = book_and_page
    page.send(do, b"", **event)
    assert page.form.line.startswith("Not done")
    assert says in page.form.line
    assert "\n" not in page.form.line
    assert waiting(place_for(book)) == ()


def test_the_visit_can_be_switched_but_not_while_recording(book_and_page) -> None:
    book, page = book_and_page
    (own,) = book.visits()
    with book.editing(by="Ana") as edit:
        other = edit.add(Visit(piano_id=own.piano_id, day=own.day.replace(day=28)))
    page.begin("hand clap")
    with pytest.raises(BadInput, match="while recording"):
        page.form.visit = other
    page.play(scale(), range(4))
    page.send("end", page="p1", count=4)
    page.form.visit = other.id
    assert page.form.head["day"].endswith("-28")
    page.name = "p2"
    page.begin("hand clap")
    page.play(scale(), range(4))
    page.send("end", page="p2", count=4)
    assert [r.visit_id for r in book.recordings()] == [own.id, other.id]


def test_level_checks(book_and_page) -> None:
    _, page = book_and_page
    page.send("chord", pack(np.round(2**22 * np.sin(np.arange(RATE) * 0.05))), rate_hz=RATE)
    page.send("silence", pack(np.zeros(RATE)), rate_hz=RATE)
    assert page.form.checks["chord"]["verdict"] == "good"
    assert page.form.checks["silence"]["verdict"] == "muted pauses"


def test_the_still_twin_escapes_and_lists(book_and_page) -> None:
    _, page = book_and_page
    page.form.line = "<b>x</b>"
    page.form.leaving = {"parts": [{"text": "Too <soft>", "keys": [{"key": 40, "note": "C4"}]}]}
    html = page.form.to_html()
    assert "Too &lt;soft&gt; C4" in html
    assert "<b>x" not in html


def test_a_confirmed_piece_that_is_not_in_the_recording_would_be_noticed() -> None:
    """What the browser tests and `benchmarks.recorder_cuts` judge by."""

    class NoPage:
        def on(self, *_: object) -> None: ...

    told, sound = Told(NoPage()), scale()[: 3 * FRAMES].reshape(-1, 1)
    for n in range(3):
        told.sent[n] = n * FRAMES, pack(sound[n * FRAMES : (n + 1) * FRAMES])
    told.confirmed = {0, 1}
    assert told.confirmed_frames() == 2 * FRAMES
    assert told.lost_from(sound) == []
    assert told.lost_from(sound[: 2 * FRAMES - 1]) == [1]
    other = sound.copy()
    other[5] += 1
    assert told.lost_from(other) == [0]
    assert told.lost_from(np.roll(sound, 1, axis=0)) == [0, 1]
