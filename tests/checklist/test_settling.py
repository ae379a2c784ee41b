"""What a look can't show, and which other points settle it, is data that the schema checks."""

from __future__ import annotations

from pathlib import Path

import pytest

from pianolab.checklist import load_checklist
from pianolab.errors import BadInput

OWN = """
[[point]]
id = "own.rim"
area = "Case and finish"
title = "Rim under the veneer"
why = "w"
how = "h"
record = "yes_no"
good_answer = true
shows = 0.5
settled_by = [{ point = "papers-warranty", within = [1, 50] }, { point = "tuning-held", on_answer = true }]
"""


def test_a_point_of_ones_own_can_name_what_settles_it(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN)
    own = load_checklist(path)["own.rim"]
    assert own.shows == 0.5
    assert [(r.point, r.within, r.on_answer) for r in own.settled_by] == [
        ("papers-warranty", (1.0, 50.0), None),
        ("tuning-held", None, True),
    ]


@pytest.mark.parametrize(
    ("was", "now", "line"),
    [
        ("shows = 0.5", "shows = 0", "shows: got 0, need a part of the whole, above 0, up to 1"),
        ("shows = 0.5", "shows = 1.5", "shows: got 1.5, need a part of the whole"),
        (
            "shows = 0.5",
            "",
            "settled_by: got shows = 1 with 2 ways to settle the rest, need shows under 1 and",
        ),
        (
            '"tuning-held", on_answer = true',
            '"tuning-held"',
            "need tables with point, and on_answer or within",
        ),
        (
            '"tuning-held"',
            '"tuning-holds"',
            "got 'tuning-holds', need the id of another checklist point. Did you",
        ),
        ('"tuning-held"', '"own.rim"', "got 'own.rim', need the id of another checklist point"),
        ('"tuning-held"', '"pins-look"', "got pins-look, which records a grade, need on_answer for a yes_no"),
        ("within = [1, 50]", "within = [50, 1]", "need two numbers, the smaller first"),
        (
            "within = [1, 50]",
            "on_answer = true",
            "got papers-warranty, which records a reading, need on_answer",
        ),
        ("on_answer = true", 'on_answer = "yes"', "need true or false, without quotation marks"),
    ],
)
def test_what_could_settle_nothing_is_refused(tmp_path: Path, was: str, now: str, line: str) -> None:
    path = tmp_path / "own.toml"
    assert was in OWN
    path.write_text(OWN.replace(was, now))
    with pytest.raises(BadInput) as caught:
        load_checklist(path)
    assert str(caught.value).startswith("own.toml: own.rim: ")
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)
