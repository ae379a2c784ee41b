"""The scales players answer on: whole as shipped, refused with one line where a file is not."""

from importlib.resources import files

import pytest

from pianolab.checklist import load_touch_scales
from pianolab.checklist.touch_scales import touch_scales_of
from pianolab.errors import BadInput

SCALES = load_touch_scales()
TEXT = (files("pianolab.checklist") / "data" / "touch_scales.toml").read_text(encoding="utf-8")
JUDGING = ("good", "bad", "wrong", "fault", "poor", "fine", "better", "worse")


def test_taste_has_two_described_ends_and_none_is_called_good() -> None:
    assert len(SCALES.taste) >= 4
    for scale in SCALES.taste:
        assert scale.low != scale.high
        for word in (*scale.low.lower().split(), *scale.high.lower().split()):
            assert word.strip(".,:") not in JUDGING, scale.id


def test_faults_have_five_sentences_each() -> None:
    assert len(SCALES.faults) >= 5
    for scale in SCALES.faults:
        assert len(set(scale.anchors)) == 5
        assert all(a.endswith(".") for a in scale.anchors)
        assert scale.question.endswith("?")


def test_weight_is_taste_and_evenness_is_a_fault() -> None:
    assert "weight" in {s.id for s in SCALES.taste}
    assert "evenness" in {s.id for s in SCALES.faults}
    assert not {s.id for s in SCALES.taste} & {s.id for s in SCALES.faults}


def test_they_show_themselves() -> None:
    assert len(SCALES.rows()) == len(SCALES.taste) + len(SCALES.faults) + 1
    assert "Substantial" in SCALES._repr_html_()


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('low = "Light', 'lwo = "Light', "some.toml: weight: lwo: got an unknown field"),
        ('name = "Weight"\n', "", "some.toml: weight: name: got None, need a text"),
        ('  "No two neighbours answer alike.",\n', "", "some.toml: evenness: anchors: got"),
        ('id = "depth"', 'id = "weight"', "some.toml: weight: got the same id twice"),
        ("[liking]", "[like]", "need \\[\\[taste\\]\\], \\[\\[fault\\]\\] and \\[liking\\] tables"),
        ('id = "weight"', "id = weight", "some.toml: got text that can't be read, need a TOML file"),
    ],
)
def test_a_bad_file_gives_one_line(old: str, new: str, line: str) -> None:
    assert old in TEXT
    with pytest.raises(BadInput, match=line) as caught:
        touch_scales_of(TEXT.replace(old, new), name="some.toml")
    assert "\n" not in str(caught.value)
