"""A recording on its way: what was confirmed is there, whatever was killed, cut, doubled or lost."""

import os
import random
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pianolab.casebook.arrived import file_away, go_on, read_arrived, unpack, waiting
from pianolab.casebook.arriving import HEAD, PIECES, About, begin, place_for, throw_away
from pianolab.errors import BadInput, CasebookError
from pianolab.io import read_sound
from pianolab.model import Capture

RATE, FRAMES = 48000, 12000
NOISE = np.random.default_rng(5).normal(0, 40, (20 * FRAMES, 1)).round().astype(np.int32)
"""Quiet noise in steps of 16 bits, as a good microphone gives it in a still room."""


def pack(samples):
    """24 bits, little end first, by the platform's own integers; shares nothing with `unpack`."""
    return b"".join(int(v).to_bytes(3, "little", signed=True) for v in samples.ravel())


def piece(number, sound=NOISE):
    return pack(sound[number * FRAMES : (number + 1) * FRAMES] * 256)


def send(arriving, numbers, *, sound=NOISE, late_ms=lambda _: 0.0):
    for n in numbers:
        clock_ms = 1000.0 * (n + 1) * FRAMES / RATE + late_ms(n)
        arriving.take(n, piece(n, sound), first_frame=n * FRAMES, clock_ms=clock_ms)


def arrived(tmp_path, numbers, **more):
    with begin(tmp_path, About(visit_id="v", rate_hz=RATE)) as arriving:
        send(arriving, numbers, **more)
    return read_arrived(arriving.folder)


def joined(found):
    return np.concatenate(list(found.blocks()))


@given(st.lists(st.integers(-(2**23), 2**23 - 1), min_size=1, max_size=50))
def test_24_bits_come_back(values):
    assert unpack(pack(np.array(values)), 1)[:, 0].tolist() == values


@settings(max_examples=25, deadline=None)
@given(order=st.permutations(range(6)), again=st.integers(0, 5))
def test_order_and_doubles_do_not_matter(tmp_path_factory, order, again):
    found = arrived(tmp_path_factory.mktemp("a"), [*order, again])
    assert np.array_equal(joined(found), NOISE[: 6 * FRAMES] * 256)
    assert found.gaps() == ()
    assert found.seconds == 6 * FRAMES / RATE


def test_a_piece_that_never_came_keeps_its_time_and_is_named(tmp_path):
    found = arrived(tmp_path, [0, 1, 3, 4])
    (gap,) = found.gaps()
    assert (gap.kind, gap.begin_s, gap.end_s) == ("never came", 0.5, 0.75)
    sound = joined(found)
    assert len(sound) == 5 * FRAMES
    assert not sound[2 * FRAMES : 3 * FRAMES].any()
    assert np.array_equal(sound[3 * FRAMES :], NOISE[3 * FRAMES : 5 * FRAMES] * 256)


@pytest.mark.parametrize("begin_frame", [1000, FRAMES - 240, 2 * FRAMES])
def test_silence_put_in_is_found_wherever_it_lies(tmp_path, begin_frame):
    sound = NOISE.copy()
    sound[begin_frame : begin_frame + 480] = 0
    (gap,) = arrived(tmp_path, range(6), sound=sound).gaps()
    assert gap.kind == "silence put in"
    # a sample of the noise beside it may happen to be 0
    assert gap.begin_s == pytest.approx(begin_frame / RATE, abs=1e-4)
    assert gap.lost_s == pytest.approx(0.01, abs=2e-4)


def test_a_quiet_room_and_a_beginning_in_silence_are_no_gaps(tmp_path):
    sound = np.random.default_rng(1).normal(0, 1.0, NOISE.shape).round().astype(np.int32)
    sound[: 2 * FRAMES + 100] = 0
    assert arrived(tmp_path, range(8), sound=sound).gaps() == ()


def test_sound_that_was_left_out_is_a_delay_that_stays(tmp_path):
    jitter = random.Random(3)

    def busy(n):
        """A delay of a second that is made good, and one of three pieces."""
        return jitter.uniform(0, 2) + 1000 * (n == 7) + 60 * (11 <= n < 14)

    assert arrived(tmp_path, range(20), late_ms=busy).gaps() == ()
    drifts = arrived(tmp_path, range(20), late_ms=lambda n: 0.025 * n)  # a sound card 100 ppm off
    assert drifts.gaps() == ()
    for lost_ms in (250.0, 10.0):
        lost = arrived(tmp_path, range(20), late_ms=lambda n, ms=lost_ms: busy(n) + ms * (n >= 9))
        (gap,) = lost.gaps()
        assert gap.kind == "clock jumped"
        assert gap.lost_s == pytest.approx(lost_ms / 1000.0, abs=0.003)
        # in the piece whose delay grew, or the one before: its own is the least of all its blocks
        assert (gap.begin_s, gap.end_s) == pytest.approx((8 * FRAMES / RATE, 10 * FRAMES / RATE))
    twice = arrived(tmp_path, range(20), late_ms=lambda n: 20.0 * (n >= 6) + 30.0 * (n >= 9))
    assert [round(g.lost_s, 3) for g in twice.gaps()] == [0.02, 0.03]


def test_a_piece_whose_mark_is_damaged_is_no_piece_and_the_next_is_found(tmp_path):
    found = arrived(tmp_path, range(4))
    data = bytearray((found.folder / PIECES).read_bytes())
    data[found.pieces[1].offset - HEAD.size] ^= 0xFF
    (found.folder / PIECES).write_bytes(data)
    assert [p.number for p in read_arrived(found.folder).pieces] == [0, 2, 3]


def test_half_a_piece_and_a_damaged_one_are_left_out(tmp_path):
    found = arrived(tmp_path, range(6))
    path = found.folder / PIECES
    data = bytearray(path.read_bytes())
    data[found.pieces[2].offset + 5] ^= 0xFF
    path.write_bytes(data[:-100])
    again = read_arrived(found.folder)
    assert [p.number for p in again.pieces] == [0, 1, 3, 4]
    with go_on(found.folder) as arriving:
        send(arriving, [2, 5])
    assert np.array_equal(joined(read_arrived(found.folder)), NOISE[: 6 * FRAMES] * 256)


@settings(max_examples=30, deadline=None)
@given(st.binary(max_size=3000))
def test_rubbish_is_no_piece(tmp_path_factory, rubbish):
    found = arrived(tmp_path_factory.mktemp("r"), [0])
    with (found.folder / PIECES).open("ab") as file:
        file.write(rubbish)
    assert [p.number for p in read_arrived(found.folder).pieces] == [0]


@pytest.mark.parametrize(("samples", "first"), [(b"", 0), (b"12", 0), (bytes(3), -1)])
def test_what_is_no_piece_is_refused_in_one_line(tmp_path, samples, first):
    with begin(tmp_path, About(visit_id="v", rate_hz=RATE)) as arriving:
        with pytest.raises(BadInput, match="piece: got"):
            arriving.take(0, samples, first_frame=first, clock_ms=0.0)
        send(arriving, [0])
    assert [p.number for p in read_arrived(arriving.folder).pieces] == [0]


def test_a_telephone_rate_is_refused_before_anything_is_recorded(tmp_path):
    with pytest.raises(BadInput, match="telephone"):
        begin(tmp_path, About(visit_id="v", rate_hz=8000))
    assert list(tmp_path.iterdir()) == []


WRITER = """
import sys
from tests.casebook.test_arriving import About, begin, send
from pathlib import Path
with begin(Path(sys.argv[1]), About(visit_id="v", rate_hz=48000)) as arriving:
    for n in range(20):
        send(arriving, [n])
        print(n, flush=True)
    print("done", flush=True)
    sys.stdin.read()
"""


@pytest.mark.slow
def test_killed_while_writing_everything_confirmed_is_there(tmp_path):
    chance = random.Random(11)
    for kill in range(int(os.environ.get("PIANOLAB_KILLS", "200")) // 10):
        place = tmp_path / str(kill)
        pipe = subprocess.PIPE
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(place)], stdout=pipe, stdin=pipe, text=True
        ) as writer:
            confirmed = [writer.stdout.readline().strip() for _ in range(chance.randint(1, 12))]
            time.sleep(chance.uniform(0, 0.03))
            writer.send_signal(signal.SIGKILL)
            confirmed += writer.stdout.read().split()
        (found,) = waiting(place)
        there = {p.number for p in found.pieces}
        assert {int(n) for n in confirmed if n.isdigit()} <= there
        assert np.array_equal(joined(found), NOISE[: len(there) * FRAMES] * 256)


FULL = """
import resource, signal, sys
from tests.casebook.test_arriving import About, begin, send
from pianolab.errors import CasebookError
from pathlib import Path
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with begin(Path(sys.argv[1]), About(visit_id="v", rate_hz=48000)) as arriving:
    send(arriving, [0, 1])
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY))
    try:
        send(arriving, [2])
    except CasebookError as error:
        print(error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    send(arriving, [2])
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="needs a limit on file sizes")
def test_a_full_disk_is_said_and_takes_nothing_away(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert "need room on the disk. What was recorded before is safe." in done.stdout
    (found,) = waiting(tmp_path)
    assert np.array_equal(joined(found), NOISE[: 3 * FRAMES] * 256)


# into the casebook


@pytest.mark.parametrize(("scale", "bits"), [(256, "16 bit"), (255, "24 bit")])
def test_filed_bit_for_bit_and_gone_from_the_waiting(case, scale, bits):
    place = place_for(case.book)
    about = About(
        visit_id=case.visit.id, rate_hz=RATE, first_key=40, last_key=45, purpose="take", note="soft"
    )
    with begin(place, about) as arriving:
        for n in range(4):
            samples = pack(NOISE[n * FRAMES : (n + 1) * FRAMES] * scale)
            arriving.take(n, samples, first_frame=n * FRAMES, clock_ms=0.0)
    (found,) = waiting(place)
    recording = file_away(case.book, found, by="Ana")
    assert (recording.rate_hz, recording.first_key, recording.last_key, recording.note) == (
        RATE,
        40,
        45,
        "soft",
    )
    sound = read_sound(case.book.media_path(recording.media))
    assert sound.bits == bits
    assert np.array_equal(sound.samples, (NOISE[: 4 * FRAMES] * scale / 2.0**23).astype(np.float32))
    assert waiting(place) == ()
    assert case.book.recordings(case.visit.id)[-1] == recording
    assert case.book.verify().ok


def test_what_the_browser_said_and_what_never_came_is_filed_and_read_again(case):
    place = place_for(case.book)
    said = {"echoCancellation": "off", "noiseSuppression": "on", "autoGainControl": "perhaps"}
    about = About(visit_id=case.visit.id, rate_hz=RATE, device="Built-in\n microphone", processing=said)
    with begin(place, about) as arriving:
        send(arriving, [0, 1, 3])
    (found,) = waiting(place)
    (gap,) = [g for g in found.gaps() if g.kind == "never came"]
    recording = file_away(case.book, found, by="Ana")
    again = case.book.recordings(case.visit.id)[-1]
    assert again == recording
    assert again.capture == Capture(
        device="Built-in microphone", echo_cancellation="off", noise_suppression="on", gaps=again.capture.gaps
    )
    assert again.capture.automatic_gain == "unknown"
    assert gap in again.capture.gaps
    assert gap.lost_s == pytest.approx(FRAMES / RATE)


def test_what_cannot_be_filed_stays(case):
    place = place_for(case.book)
    with begin(place, About(visit_id="no such visit", rate_hz=RATE)) as arriving:
        send(arriving, [0])
    (found,) = waiting(place)
    with pytest.raises((BadInput, CasebookError)):
        file_away(case.book, found, by="Ana")
    assert [a.id for a in waiting(place)] == [found.id]
    assert found.going_on
    throw_away(found.folder)
    assert waiting(place) == ()


def test_a_folder_that_is_none_is_passed_over(tmp_path):
    (tmp_path / "other").mkdir()
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "about.json").write_text('{"rate_hz": "x"}')
    assert waiting(tmp_path) == ()
    with pytest.raises(CasebookError, match=r"about\.json"):
        read_arrived(tmp_path / "bad")
