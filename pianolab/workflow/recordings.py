"""One recording listened to, or two of one piano compared, from files or from what was read of them already."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pianolab.acoustics import Recorded, Survey
from pianolab.acoustics import listen as listen_to_samples
from pianolab.errors import BadInput
from pianolab.io.sound import Samples
from pianolab.recordings import Holding, LeftPedal, holds_tuning, left_pedal
from pianolab.workflow.listening import listen_file
from pianolab.workflow.progress import Progress

Heard = str | Path | Survey


def listen(
    recording: str | Path | Samples,
    *,
    rate_hz: int | None = None,
    first_key: int = 1,
    last_key: int = 88,
    a4_hz: float = 440.0,
    expected_offset_cents: float | None = None,
    progress: Progress | None = None,
) -> Survey:
    """Measure every key of a piano from the recording of a scale.

    Parameters
    ----------
    recording : a sound file of any usual format, read as it is; or samples, shape (frames,) or (frames, channels)
    rate_hz : Hz; with samples only
    first_key, last_key : int; the keys that were played lie within these (A0 = 1, A4 = 49)
    a4_hz : float, Hz; what A4 should be
    expected_offset_cents : float, cents; how far the piano is from it where a fork or a tuning device told so: then a
        recording played at the wrong speed shows
    progress : called with what is being done and a share from 0 to 1

    Returns
    -------
    Survey; a row of measures for every key, with the reason for every gap. ``survey.chart("decay")`` draws one

    Raises
    ------
    BadInput
        no such file, no piano notes, keys that don't fit, samples without their rate

    Examples
    --------
    >>> from importlib.resources import as_file
    >>> from pianolab.io import real_notes
    >>> with as_file(real_notes()[49]) as path:
    ...     listen(path, first_key=49, last_key=49).summary.measured
    1
    """
    more = {
        "first_key": first_key,
        "last_key": last_key,
        "a4_hz": a4_hz,
        "progress": progress,
    }
    if isinstance(recording, (str, Path)):
        if rate_hz is not None:
            raise BadInput(
                "rate_hz", rate_hz, "none with a file", "The file says itself at which rate it is."
            )
        return listen_file(recording, expected_offset_cents=expected_offset_cents, **more)  # type: ignore[arg-type]
    if rate_hz is None:
        raise BadInput("rate_hz", "none", "the sampling rate of the samples in Hz")
    recorded = Recorded(expected_offset_cents=expected_offset_cents)
    return listen_to_samples(recording, rate_hz=rate_hz, recorded=recorded, **more)  # type: ignore[arg-type]


def compare_recordings(
    first: Heard,
    second: Heard,
    *,
    about: Literal["tuning", "left pedal"] = "tuning",
    days: float | None = None,
    kind: Literal["grand", "upright"] = "upright",
) -> Holding | LeftPedal:
    """What is different between two recordings of one piano: which keys went their own way, or what a pedal does.

    Parameters
    ----------
    first, second : sound files or surveys, the earlier first; for the pedal the one without it first
    about : ``tuning``, between two days; or ``left pedal``, of one day, recorded at one gain from one place
    days : float, days between them, for the tuning
    kind : ``grand`` or ``upright``, for the pedal

    Returns
    -------
    `Holding` or `LeftPedal`; both show themselves and have a ``chart()``

    Raises
    ------
    BadInput
        too few keys in both, and what `listen` refuses
    """
    one, other = (s if isinstance(s, Survey) else listen(s) for s in (first, second))
    if about == "tuning":
        return holds_tuning(one, other, days=days)
    if about == "left pedal":
        return left_pedal(one, other, kind=kind)
    raise BadInput("about", repr(about), "tuning or left pedal")
