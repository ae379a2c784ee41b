"""Listening while somebody plays: what is heard piece by piece is what is heard in the file, and what was really played."""

from functools import cache

import numpy as np
import pytest

from pianolab.acoustics import listen
from pianolab.acoustics.live import Guide, LiveListener, check_chord, check_silence
from pianolab.acoustics.live.leaving import before_leaving, keys_in_gaps
from pianolab.acoustics.live.listener import LiveNote
from pianolab.acoustics.live.note_level import Sounding
from pianolab.acoustics.live.recent import BANDS_S, KEPT_S, RecentSound
from pianolab.errors import BadInput
from pianolab.io import read_sound, real_notes
from pianolab.sound_model import PianoModel, render_scale, room

RATE = 24000
FIRST, LAST = 36, 51


@cache
def scale(hold_s=1.4):
    return render_scale(
        PianoModel(seed=21),
        first_key=FIRST,
        last_key=LAST,
        hold_s=hold_s,
        gap_s=0.5,
        rate_hz=RATE,
        snr_db=45.0,
        room=room("home"),
        seed=4,
    )


def heard(samples, *, piece_s=0.25, first=1, last=88):
    live = LiveListener(rate_hz=RATE, first_key=first, last_key=last)
    sound = samples if samples.ndim == 2 else samples[:, None]
    step = round(piece_s * RATE)
    for at in range(0, len(sound), step):
        live.take(sound[at : at + step])
    return live, live.finish()


@pytest.mark.slow
def test_live_hears_what_was_played_and_what_the_file_says() -> None:
    _, notes = heard(scale().samples)
    truth = {s.key: s.onset_s for s in scale().strikes}
    assert [n.key for n in notes] == list(truth)
    assert all(abs(n.onset_s - truth[n.key]) < 0.06 for n in notes)
    survey = listen(scale().samples, rate_hz=RATE, first_key=FIRST, last_key=LAST)
    table = survey.table.set_index("key")
    assert list(table.index[table["status"] == "measured"]) == [n.key for n in notes if n.sure]
    assert all(abs(table["onset_s"][n.key] - n.onset_s) < 0.03 for n in notes)
    # the twin: a strip that lags by one key would not pass
    assert not any(abs(n.onset_s - truth[n.key + 1]) < 0.06 for n in notes[:-1])


@pytest.mark.slow
def test_the_length_of_the_pieces_does_not_matter() -> None:
    short, long = heard(scale().samples, piece_s=0.1)[1], heard(scale().samples, piece_s=0.7)[1]
    assert [(n.key, n.sure) for n in short] == [(n.key, n.sure) for n in long]
    assert np.allclose([n.onset_s for n in short], [n.onset_s for n in long], atol=0.02)


@pytest.mark.slow
def test_a_key_is_known_while_it_sounds_and_its_end_within_a_second() -> None:
    live = LiveListener(rate_hz=RATE)
    step, named, over = RATE // 4, {}, {}
    samples = scale().samples
    samples = samples if samples.ndim == 2 else samples[:, None]
    for at in range(0, len(samples), step):
        for note in live.take(samples[at : at + step]):
            named.setdefault(note.key, live.recent.end_s)
            if note.over:
                over.setdefault(note.key, live.recent.end_s)
    for s in scale().strikes:
        assert named[s.key] - s.onset_s < 1.0
        assert over[s.key] - s.release_s < 1.0


def test_a_note_that_rings_into_the_next_is_over_soon_after_that_was_struck() -> None:
    made = render_scale(PianoModel(seed=7), first_key=72, last_key=75, hold_s=1.0, gap_s=0.3, rate_hz=RATE)
    samples, live, over = (
        np.asarray(made.samples).reshape(-1, 1),
        LiveListener(rate_hz=RATE),
        dict[int, float](),
    )
    for at in range(0, len(samples), RATE // 4):
        for note in live.take(samples[at : at + RATE // 4]):
            if note.over:
                over.setdefault(note.key, live.recent.end_s)
    for one, following in zip(made.strikes, made.strikes[1:], strict=False):
        assert over[one.key] - following.onset_s < 0.5  # half a second of the next is needed to read its key


@pytest.mark.slow
def test_clipped_and_soft_notes_and_gaps_are_named_and_good_ones_are_not() -> None:
    good = np.asarray(scale().samples, float).copy()
    assert all(n.again == () for n in heard(good)[1])
    loud = np.clip(8.0 * good, -0.9, 0.9)
    assert all("clipped" in n.again for n in heard(loud)[1][:8])
    noise = np.random.default_rng(2).normal(0, 0.05, good.shape)
    assert any("too soft" in n.again for n in heard(good + noise)[1])
    live = LiveListener(rate_hz=RATE)
    hit = scale().strikes[3]
    live.mark_gap(hit.onset_s + 0.2, hit.onset_s + 0.21)
    sound = good if good.ndim == 2 else good[:, None]
    for at in range(0, len(sound), 6000):
        notes = live.take(sound[at : at + 6000])
    assert [n.key for n in notes if "gap" in n.again] == [hit.key]


@pytest.mark.slow
def test_a_key_let_go_too_soon_is_named() -> None:
    _, notes = heard(scale(0.3).samples)
    damped = [n for n in notes if n.over]
    assert np.mean(["too short" in n.again for n in damped]) > 0.8


def test_memory_stays_the_same() -> None:
    recent = RecentSound(rate_hz=16000)
    noise = np.random.default_rng(1).normal(0, 0.01, (8000, 1)).astype(np.float32)
    for _ in range(300):
        recent.take(noise)
    assert recent.channels.shape[1] == KEPT_S * 16000
    assert (recent._next_band - recent._first_band) * 0.01 < BANDS_S + 2.0
    assert recent.end_s == 150.0


@pytest.mark.slow
def test_speech_like_noise_is_no_key() -> None:
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 0.1, 6 * RATE) * (0.5 + 0.5 * np.sin(np.arange(6 * RATE) / RATE * 2 * np.pi * 3))
    assert [n for n in heard(noise)[1] if n.sure] == []


def test_a_clean_note_is_not_asked_for_again() -> None:
    """The loudest of all by now, and not cut off; cut off at the recorder's own top it is."""
    note = read_sound(real_notes()[49])
    wave = note.samples[: 2 * note.rate_hz] / np.abs(note.samples).max()
    sound = np.concatenate([1e-4 * wave[-note.rate_hz // 2 :], wave])
    for loud, named in ((sound, False), (np.clip(4.0 * sound, -1.0, 1.0), True)):
        live = LiveListener(rate_hz=note.rate_hz)
        live.take(loud)
        notes = live.finish()
        assert [n.key for n in notes] == [49]
        assert ("clipped" in notes[0].again) is named


# the guide


def test_one_blow_counts_once_though_its_key_is_asked_for_twice() -> None:
    """As for keys that are struck twice: the second time is another blow."""

    def blow(at_s: float) -> LiveNote:
        return LiveNote(40, at_s, True, True, Sounding(0.5, False, 50.0, 1.5, at_s + 1.5, settled=True))

    guide = Guide((40, 40, 41))
    for now_s in (2.0, 2.3, 2.6):
        guide.take((blow(0.4),), now_s=now_s)
        assert guide.view().key == 40
    guide.take((blow(0.4), blow(3.0)), now_s=5.0)
    assert guide.view().key == 41


@pytest.mark.slow
def test_the_guide_moves_on_names_a_wrong_key_and_comes_back() -> None:
    guide = Guide(range(38, 42))
    live = LiveListener(rate_hz=RATE)
    samples = scale().samples
    sound = samples if samples.ndim == 2 else samples[:, None]
    asked, wrong = [], set()
    for at in range(0, len(sound), 6000):
        guide.take(live.take(sound[at : at + 6000]), now_s=live.recent.end_s)
        asked.append(guide.view().key)
        wrong.add(guide.view().wrong)
    assert list(dict.fromkeys(asked)) == [38, 39, 40, 41, None]
    assert {36, 37} <= wrong
    assert guide.view().states == dict.fromkeys(range(38, 42), "found")
    assert guide.view().left_s == 0.0
    guide.go(39)
    assert (guide.view().key, guide.view().states[39]) == (39, "to play")


def test_the_guide_refuses_what_it_cannot_ask_for() -> None:
    with pytest.raises(BadInput, match="keys: got none"):
        Guide([])
    with pytest.raises(BadInput, match="key: got 5"):
        Guide(range(40, 42)).go(5)


# before and after


def test_the_level_is_judged_by_the_chord_and_the_silence() -> None:
    chord = np.asarray(scale().samples, float)
    chord = chord if chord.ndim == 2 else chord[:, None]
    good = check_chord(chord)
    assert good.usable
    assert check_chord(np.clip(chord * 4, -1, 1)).verdict == "clipped"
    quiet = check_silence(1e-5 * np.random.default_rng(1).normal(size=(RATE, 1)), rate_hz=RATE, chord=good)
    assert (quiet.verdict, quiet.usable) == ("good", True)
    assert not check_silence(np.zeros((RATE, 1)), rate_hz=RATE, chord=good).usable


def test_before_leaving_names_what_is_missing_once_and_nothing_else() -> None:
    survey = listen(scale().samples, rate_hz=RATE, first_key=FIRST, last_key=LAST)
    onset = float(survey.table.set_index("key")["onset_s"][40])
    lost = keys_in_gaps(survey, [(onset + 0.1, onset + 0.2)])
    leaving = before_leaving(survey, asked=range(FIRST, LAST + 4), lost=lost)
    kinds = {p.says.kind: p.keys for p in leaving.again}
    assert kinds["leaving.not heard"] == (52, 53, 54)
    assert kinds["leaving.gap"] == (40,)
    assert len(leaving.keys) == len(set(leaving.keys))
    assert leaving.seconds > 2.0 * len(leaving.keys)
    enough = before_leaving(survey, asked=range(FIRST, LAST + 1))
    assert "leaving.not heard" not in {p.says.kind for p in enough.again}
