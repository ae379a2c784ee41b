"""The shipped checklist is whole, and a user's own file is read or refused with one clear line."""

import re
import tomllib
from pathlib import Path

import pytest

from pianolab.checklist import load_checklist
from pianolab.checklist.stations import load_openings
from pianolab.errors import BadInput
from pianolab.model import ASPECTS, Piano
from pianolab.shipped import shipped
from pianolab.sources import SOURCES

CHECKLIST = load_checklist()
RISKY = re.compile(
    r"\b(turn|turns|wiggle|loosen|tighten|unscrew|pull|take out|lift out|tip|rock)\b"
    r"[^.;:]*\b(pin|pins|action|screw|screws|strings?|piano|upright)\b"
)


def risky_orders(how: str) -> list[str]:
    """Sentences that tell the reader to do what only a technician does, and don't say "do not" or "no"."""
    sentences = re.split(r"[.;:]", how.lower())
    return [s for s in sentences if RISKY.search(s) and not re.search(r"\b(not|no|never)\b", s)]


WALK = [
    "Papers and story",
    "Case and finish",
    "Each key once",
    "State on the day and tuning",
    "Type and claims",
    "Pin block and tuning pins",
    "Bridges",
    "Plate and frame",
    "Soundboard",
    "Strings",
    "Hammers",
    "Dampers",
    "Keys",
    "Action and touch",
    "Pedals",
    "The room and the way home",
]


def own_file(folder: Path, text: str) -> Path:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_areas_stand_in_walking_order() -> None:
    assert list(CHECKLIST.areas) == WALK
    assert 140 <= len(CHECKLIST) <= 170


def test_treble_bridge_comes_first_among_the_bridges() -> None:
    assert next(p.id for p in CHECKLIST if p.area == "Bridges") == "bridge-treble"


@pytest.mark.parametrize("point", CHECKLIST, ids=lambda p: p.id)
def test_every_point_says_what_it_needs(point) -> None:
    assert point.why.endswith((".", "?"))
    assert point.how.endswith((".", "?"))
    assert len(point.why) > 20
    assert len(point.how) > 20
    assert point.source in SOURCES
    assert point.minutes > 0
    if point.record == "grade":
        assert len(set(point.anchors)) == 5
        assert all(a.endswith((".", "?")) for a in point.anchors)
    if point.record == "yes_no":
        assert point.yes_means
        assert point.no_means
    if point.record in ("count", "reading"):
        assert point.unit or not point.aspects
    if point.record in ("count", "reading"):
        assert point.usual is not None
    assert point.where
    assert point.position
    if point.vetoes or point.nature == "cosmetic":
        assert point.nature != "cosmetic" or not point.vetoes


@pytest.mark.parametrize("kind", ["upright", "grand"])
def test_the_short_walk_fits_into_twenty_minutes(kind: str) -> None:
    """Of an old piano of unknown make-up too, which has every point that can apply."""
    short = CHECKLIST.for_piano(Piano(name="x", kind=kind), short=True)
    assert 15 <= sum(p.minutes for p in short) <= 20
    for area in ("Pin block and tuning pins", "Plate and frame", "Bridges", "Hammers", "Dampers", "Keys"):
        assert area in short.areas
    assert not any(p.access == "technician only" or p.helper for p in short)


def test_every_aspect_rests_on_several_points() -> None:
    for aspect in ASPECTS:
        assert sum(aspect in p.aspects for p in CHECKLIST) >= 5, aspect


def test_the_examiner_turns_no_pin_and_pulls_no_action() -> None:
    """Whatever asks for a tool on pins, gauges or an open keyboard is a technician's."""
    for point_id in ("pins-torque", "bridge-bearing", "keys-lead"):
        assert CHECKLIST[point_id].access == "technician only"
    for point in CHECKLIST:
        if point.access != "technician only":
            assert not risky_orders(point.how), point.id
    assert any("two people" in c.lower() for c in CHECKLIST["case-under-lid"].cautions)
    assert any("prop" in c.lower() for c in CHECKLIST["case-prop"].cautions)
    assert any("tip" in c.lower() for c in CHECKLIST["frame-posts"].cautions)


def test_the_search_for_risky_orders_has_teeth() -> None:
    assert risky_orders("Look first. Turn a pin a little with the wrench.")
    assert risky_orders("Tip the piano forwards and look.")
    assert not risky_orders("You turn no pin, not even a little. Do not tip it.")


def test_age_alone_is_no_fault() -> None:
    for point_id in ("papers-age", "strings-age"):
        point = CHECKLIST[point_id]
        assert not point.aspects
        assert not point.vetoes
        assert not point.repairs


def test_the_great_faults_stop_the_purchase() -> None:
    stops = {p.id for p in CHECKLIST if p.vetoes}
    assert stops >= {
        "papers-ownership",
        "pins-torque",
        "pinblock-cracks",
        "plate-cracks",
        "frame-posts",
        "bridge-treble",
        "board-failed",
        "case-pests",
        "action-sluggish",
        "access-home",
    }


def test_points_that_a_piano_does_not_have_are_left_out() -> None:
    grand = {p.id for p in CHECKLIST.for_piano(Piano(name="g", kind="grand", key_tops="plastic"))}
    upright = {p.id for p in CHECKLIST.for_piano(Piano(name="u", kind="upright", key_tops="ivory"))}
    assert "case-prop" in grand - upright
    assert "frame-posts" in upright - grand
    assert "papers-ivory" in upright - grand


def test_ivory_is_asked_for_where_nobody_knows_the_key_tops() -> None:
    assert "papers-ivory" in {p.id for p in CHECKLIST.for_piano(Piano(name="x", key_tops="unknown"))}


def test_questions_and_kit_come_from_the_points() -> None:
    upright = CHECKLIST.for_piano(Piano(name="u", kind="upright", key_tops="plastic"))
    assert len(upright.questions()) >= 10
    assert all(q.endswith("?") or q.endswith(".") for q in upright.questions())
    assert not any("ivory" in q for q in upright.questions())
    assert {"torch", "hygrometer", "tape", "phone"} <= set(upright.kit())
    assert "torque wrench" not in upright.kit()


SUBJECTS = {
    "Papers and story": "ownership hire serial make size weight warranty age moves standing tuner tuned lid-habits humidity heating pests flood ivory",
    "Type and claims": "stringing dampers drop-action plate plastic added added-works invoices match",
    "State on the day and tuning": "humidity temperature prepared pitch unisons single held",
    "Pin block and tuning pins": "look rust oversize glue torque bushings cracks",
    "Plate and frame": "cracks cracks-pins cracks-edge mended bolts pressure-bar agraffes capo duplex posts beams",
    "Bridges": "treble top tenor bass across pins bearing",
    "Soundboard": "cracks ribs crown buzz edges repairs",
    "Strings": "bass rust age age-bass splices gauge missing false",
    "Hammers": "grooves grooves-treble grooves-bass felt shape aligned felt-open heads shanks moth",
    "Dampers": "leak felt seat lift guides sizzle end",
    "Keys": "sticking material tops chips sharp-chips level gaps side-play lead balance pins frame",
    "Action and touch": "even repetition sluggish dip blow letoff drop aftertouch checking backchecks repetition-springs knuckles flanges "
    "downweight upweight lost-motion bridle-straps springs-loops noise opinion",
    "Pedals": "right left middle noise",
    "Case and finish": "pests finish lid-top lid-water under-lid veneer back hinges prop legs lyre castors smell inside bench",
    "Each key once": "silent recorded buzz even treble soft",
    "The room and the way home": "length width height soft bare wall lid there home floor humidity",
}


@pytest.mark.parametrize("area", SUBJECTS)
def test_every_subject_of_an_area_has_its_point(area: str) -> None:
    own = {p.id.partition("-")[2] for p in CHECKLIST if p.area == area}
    assert set(SUBJECTS[area].split()) <= own


PRICES = tomllib.loads(shipped("datasets/prices.toml").read_text(encoding="utf-8"))


def test_every_repair_is_in_the_price_list() -> None:
    assert {r.job for p in CHECKLIST for r in p.repairs} <= set(PRICES["jobs"])


def test_what_must_be_opened_is_asked_for_first() -> None:
    looking_in = re.compile(
        r"open top|top open|\binside\b|behind the fallboard|under the lid|lid open|torch held low"
    )
    for point in CHECKLIST:
        if looking_in.search(f"{point.how} {point.where} {point.position}".lower()):
            assert point.access != "anyone", point.id
        if point.opens:
            assert point.access != "anyone", point.id
            assert load_openings()[point.opens].not_opened


def test_lids_are_for_two_and_the_prop_is_checked_first() -> None:
    for opening in ("lid", "panels"):
        upright, grand = (
            " ".join(load_openings()[opening].cautions(k)).lower() for k in ("upright", "grand")
        )
        assert "ask first" in upright
        assert "two people" in grand
        assert "prop before any hand" in grand
    assert "nobody tips" in load_openings()["wall"].caution
    assert "lid" in {
        CHECKLIST[i].opens for i in ("pins-look", "strings-rust", "hammers-grooves", "case-prop")
    }


def test_moving_hammers_and_bare_strings_carry_their_caution() -> None:
    for point in CHECKLIST:
        if point.opens and point.area in ("Hammers", "Action and touch", "Strings"):
            assert point.cautions, point.id


def test_touch_weights_are_taken_at_the_same_sample_keys() -> None:
    down, up = CHECKLIST["action-downweight"], CHECKLIST["action-upweight"]
    assert down.where == up.where
    assert down.per_key
    assert up.per_key


def test_a_later_piano_is_spared_what_only_older_ones_have() -> None:
    later = {p.id for p in CHECKLIST.for_piano(Piano(name="l", year=1990))}
    older = {p.id for p in CHECKLIST.for_piano(Piano(name="o", year=1930))}
    unknown = {p.id for p in CHECKLIST.for_piano(Piano(name="u"))}
    early = {"type-stringing", "type-dampers", "type-drop-action", "type-plate", "type-plastic"}
    assert not early & later
    assert early <= older & unknown
    assert "type-dampers" not in {p.id for p in CHECKLIST.for_piano(Piano(name="g", kind="grand", year=1930))}


def test_own_file_changes_only_what_it_names(tmp_path: Path) -> None:
    changed = load_checklist(own_file(tmp_path, '[[point]]\nid = "keys-chips"\nminutes = 7\n'))
    assert changed["keys-chips"].minutes == 7.0
    assert changed["keys-chips"].title == CHECKLIST["keys-chips"].title
    assert [p.id for p in changed] == [p.id for p in CHECKLIST]
    assert load_checklist()["keys-chips"].minutes == CHECKLIST["keys-chips"].minutes


NEW = """
[[point]]
id = "strings-colour"
area = "Strings"
title = "Colour of the bass strings"
why = "Green copper has been damp for a long time."
how = "Shine along the windings."
record = "yes_no"
good_answer = true
aspects = { tone = 0.1 }
"""


def test_own_point_is_added_to_its_area(tmp_path: Path) -> None:
    ids = [p.id for p in load_checklist(own_file(tmp_path, NEW))]
    assert len(ids) == len(CHECKLIST) + 1
    assert ids.index("strings-colour") == ids.index("strings-false") + 1
    after = [p.id for p in load_checklist(own_file(tmp_path, NEW + 'after = "strings-bass"\n'))]
    assert after.index("strings-colour") == after.index("strings-bass") + 1


def test_the_head_of_an_own_file_holds_for_new_points_only(tmp_path: Path) -> None:
    text = 'area = "School rules"\nposition = "at the door"\n' + NEW.replace('area = "Strings"\n', "")
    mine = load_checklist(own_file(tmp_path, text + '[[point]]\nid = "keys-chips"\nminutes = 7\n'))
    assert (mine["strings-colour"].area, mine["strings-colour"].position) == ("School rules", "at the door")
    assert mine["keys-chips"].area == "Keys"
    assert mine["keys-chips"].position == CHECKLIST["keys-chips"].position


def test_own_area_is_added_at_the_end(tmp_path: Path) -> None:
    text = 'area = "School rules"\n' + NEW.replace('area = "Strings"\n', "")
    assert load_checklist(own_file(tmp_path, text)).areas[-1] == "School rules"


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('"yes_no"', '"yes"', r"own\.toml: strings-colour: record: got 'yes', need one of grade"),
        ("tone = 0.1", "tonne = 0.1", r"strings-colour: aspects: got 'tonne', need one of tone"),
        ("tone = 0.1", "tone = 3", r"aspects, tone: got 3, need a strength above 0, up to 1"),
        ("good_answer = true\n", "", r"strings-colour: good_answer: got nothing"),
        ('why = "Green copper has been damp for a long time."\n', "", r"why: got nothing, need a text"),
        ('record = "yes_no"', 'record = "grade"', r"anchors: got 0 sentences, need five"),
        (
            "good_answer = true",
            "good_anwser = true",
            r"good_anwser: got an unknown field.*Did you mean good_answer",
        ),
        ("good_answer = true", 'good_answer = "true"', r"good_answer: got 'true', need true or false"),
        ('record = "yes_no"', 'record = "reading"', r"unit: got nothing, need the unit of the reading"),
        (
            "good_answer = true",
            'good_answer = true\nsource = "someone"',
            r"source: got 'someone', need one of",
        ),
        ("good_answer = true", "good_answer = true\nminutes = -1", r"minutes: got -1, need 0 or more"),
        (
            "good_answer = true",
            'good_answer = true\napplies_to = ["uprihgt"]',
            r"got 'uprihgt', need one of.*Did you mean upright",
        ),
        (
            "good_answer = true",
            'good_answer = true\nopens = "lid"',
            r"access: got anyone, need ask first or technician",
        ),
        ("good_answer = true", 'good_answer = true\nopens = "roof"', r"opens: got 'roof', need one of lid"),
        ("good_answer = true", 'good_answer = true\nmark = "chip"', r"mark: got 'chip', need no mark"),
        (
            "good_answer = true",
            "good_answer = true\nusual = [5, 1]",
            r"usual: got \[5, 1\], need two numbers",
        ),
        ("good_answer = true", 'good_answer = true\nafter = "x"', r"after: got 'x', need the id of a"),
        (
            "good_answer = true",
            'good_answer = true\nrepairs = [{ job = "tuning", at_grade = 2 }]',
            r"rule: got at_grade, need on_answer",
        ),
        (
            "good_answer = true",
            "good_answer = true\nvetoes = [{ at_grade = 2 }]",
            r"need a reason in each table",
        ),
        (
            "good_answer = true",
            "good_answer = tru",
            r"own\.toml: got text that can't be read, need a TOML file",
        ),
        ("[[point]]", "[point]", r"point: got no points, need at least one"),
    ],
)
def test_bad_file_gives_one_clear_line(tmp_path: Path, old: str, new: str, line: str) -> None:
    assert old in NEW
    with pytest.raises(BadInput, match=line) as caught:
        load_checklist(own_file(tmp_path, NEW.replace(old, new)))
    assert "\n" not in str(caught.value)


def test_missing_file_gives_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="need a TOML file"):
        load_checklist(tmp_path / "nothing.toml")


def test_same_new_id_twice_overrides_the_first(tmp_path: Path) -> None:
    twice = load_checklist(own_file(tmp_path, NEW + NEW.replace("Colour", "Shade")))
    assert twice["strings-colour"].title == "Shade of the bass strings"
