"""The fold of claimed faults on the page: a row per claim, players that the page's script finds, nothing unescaped."""

import re
from dataclasses import dataclass

from pianolab.report.photos_and_clips import ClaimClips, Clip
from pianolab.report.render import _environment


@dataclass(frozen=True)
class Marked:
    letter: str = "B"
    name: str = 'The "old" <b>one</b>'


def clip(key: int, label: str) -> Clip:
    return Clip(label=label, key=key, mime="audio/mpeg", data=b"sound %d" % key, seconds=2.46)


def fold(*pairs: ClaimClips) -> str:
    module = _environment().get_template("claims.html.j2").module
    return str(module.claims_fold(pairs, Marked()))


def test_each_claim_is_a_row_with_the_key_and_its_neighbour() -> None:
    pair = ClaimClips(claim="G4: one string off <i>", faulty=clip(47, "G4"), sound=clip(46, "F#4"))
    html = fold(pair, pair)
    assert html.count("<tr role=") == 3
    assert html.count("<audio controls") == 4
    assert [html.count(c.uri) for c in (pair.faulty, pair.sound)] == [2, 2]
    assert re.findall(r'data-seconds="([^"]*)"', html) == ["2.5"] * 4
    assert 'data-play="G4, then F#4"' in html
    assert "2 claimed faults" in html
    assert "1 claimed fault " in fold(pair)


def test_nothing_that_was_written_runs() -> None:
    html = fold(ClaimClips(claim="<script>x</script>", faulty=clip(47, "G4"), sound=clip(46, "F#4")))
    assert "<script" not in html
    assert "<b>" not in html
    assert "&lt;script&gt;" in html
