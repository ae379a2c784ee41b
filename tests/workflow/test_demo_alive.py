"""The demonstration is never silent for long, and says what it is at."""

from __future__ import annotations

import time

from pianolab.demo.run import SILENT_S, never_silent


def heard_of(silent_s: float, *, steps: tuple[str, ...], least: int = 0) -> list[str]:
    """What was said in half a second, or until so much was said."""
    said: list[str] = []
    with never_silent(lambda step, _: said.append(step), silent_s=silent_s) as tell:
        for step in steps:
            tell(step, 0.1)
        time.sleep(0.5)
        for _ in range(600):
            if len(said) >= least:
                break
            time.sleep(0.1)
    return said


def test_what_goes_on_is_said_again_after_a_while_and_not_before() -> None:
    steps = ("B grand: listening to the recording",)
    assert heard_of(60.0, steps=steps) == list(steps)
    said = heard_of(0.1, steps=steps, least=3)
    assert len(said) > 2
    assert said[1].startswith("still listening to the recording, B grand: ")


def test_a_part_that_is_done_is_not_said_to_go_on() -> None:
    steps = ("A upright: playing every key", "B grand: listening", "B grand: 88 keys: all heard")
    said = heard_of(0.1, steps=steps, least=4)
    assert "A upright" in said[-1]
    assert "B grand" not in said[-1]
    assert heard_of(0.1, steps=("done",)) == ["done"]


def test_the_watch_ends_with_the_work_and_an_error_passes() -> None:
    said: list[str] = []
    try:
        with never_silent(lambda step, _: said.append(step), silent_s=0.05) as tell:
            tell("writing", 0.5)
            raise KeyError("x")
    except KeyError:
        said.append("error")
    time.sleep(0.2)
    assert said[-1] == "error"
    assert SILENT_S < 5.0
