"""The page says what the results say, carries everything inside, and takes hostile text literally."""

import itertools
import re
from dataclasses import fields, replace
from html.parser import HTMLParser

import pytest

from pianolab.errors import BadInput
from pianolab.model import Finding
from pianolab.report import Clip, Enclosures, comparison_page, write_page
from pianolab.statements import as_written, statement
from tests.figures.make import NAMES, make_checklist, make_comparison, make_findings, make_surveys

PROVENANCE = {"pianolab": "0.1.0", "blue.flac": "sha256 9f2c"}
HOSTILE = '<script>alert("x")</script><img src=http://evil.example/x onerror=alert(1)>'


def make_clip(key: int = 60) -> Clip:
    return Clip(label="G#5", key=key, mime="audio/ogg", data=b"OggS-not-really", seconds=3.0)


def make_page(comparison=None, **more) -> str:
    given = {
        "surveys": make_surveys(3),
        "findings": make_findings(),
        "checklist": make_checklist(),
    }
    beside = {"clips": {"p0": (make_clip(),), "p2": (make_clip(),)}, "provenance": PROVENANCE}
    names = {f.name for f in fields(Enclosures)}
    beside |= {k: v for k, v in more.items() if k in names}
    given |= {k: v for k, v in more.items() if k not in names}
    return comparison_page(comparison or make_comparison(), enclosed=Enclosures(**beside), **given)


def without_scripts(html: str) -> str:
    return re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL)


def text_of(html: str) -> str:
    html = re.sub(r"<style.*?</style>", "", without_scripts(html), flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.fixture(scope="module")
def page() -> str:
    return make_page()


class Outline(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))


def outline(html: str) -> list[tuple[str, dict[str, str | None]]]:
    parser = Outline()
    parser.feed(without_scripts(html))
    return parser.tags


def test_the_five_answers_come_first(page) -> None:
    top = text_of(page[: page.index('id="stop"')])
    assert "Buy Blue upright, for at most 1,650 EUR." in top
    assert "Blue upright is sound where it matters" in top
    assert "€1,650" in top
    assert "1 of 7 points on Blue upright were not checked" in top
    assert "Have the tuning pins tested" in top
    assert "A comes first and is fit to buy 71 times in 100" in top


def test_sections_come_in_the_order_of_need(page) -> None:
    ids = [a["id"] for tag, a in outline(page) if tag == "section"]
    assert ids == [
        "verdict",
        "sure",
        "stop",
        "side",
        "known",
        "money",
        "next",
        "treble",
        "listen",
        "piano-A",
        "piano-B",
        "piano-C",
        "piano-D",
        "method",
        "provenance",
    ]


def test_numbers_follow_the_results() -> None:
    c = make_comparison()
    other = replace(
        c,
        verdict=replace(c.verdict, how_sure=0.33),
        standings=tuple(replace(s, rank_shares=(0.33, 0.3, 0.2, 0.17)) for s in c.standings),
    )
    html = text_of(make_page(other))
    assert "A comes first and is fit to buy 33 times in 100" in html
    assert "An open race" in html
    assert "71 of 100" not in html


def test_vetoes_and_unknowns_are_said(page) -> None:
    text = text_of(page)
    assert "Stop. The iron plate looks cracked" in text
    assert "Not allowed (the seller wants a technician for that): Tuning pins" in text
    assert "Not checked (nobody has recorded anything here): Pedals" in text
    assert "not recorded: nothing is known of its keys by ear" in text
    assert "Not recorded: unknown, not faultless." in text


def test_findings_worst_first_and_looks_apart(page) -> None:
    section = page[page.index('id="piano-C"') : page.index('id="piano-D"')]
    text = text_of(section)
    assert (
        text.index("Iron plate")
        < text.index("Moth or woodworm")
        < text.index("Looks only")
        < text.index("Lid and hinges")
    )
    assert "failed (1 of 5) Crack seen" in text
    assert "7 : not in order" in text


def test_an_answer_is_judged_by_its_point() -> None:
    good = {"p0": (Finding(visit_id="v", point="moth", answer=False),)}
    bad = {"p0": (Finding(visit_id="v", point="moth", answer=True),)}
    assert "yes : not in order" not in text_of(make_page(findings=good))
    assert "yes : not in order" in text_of(make_page(findings=bad))


def test_nothing_is_fetched(page) -> None:
    for tag, attrs in outline(page):
        for name in ("src", "href", "srcset", "data", "poster", "action", "background", "xlink:href"):
            value = attrs.get(name)
            if name in attrs:
                assert value is not None
                assert value.startswith(("#", "data:audio/")), (tag, name, value)
        assert tag not in ("link", "iframe", "object", "embed", "base", "form"), tag
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert style
    assert "url(" not in style.group(1)
    assert "@import" not in style.group(1)


def test_the_fetch_check_has_teeth() -> None:
    assert any(a.get("src") for _, a in outline('<img src="http://a.example/x.png">'))


def test_policy_is_strict(page) -> None:
    policy = next(
        a["content"] for tag, a in outline(page) if a.get("http-equiv") == "Content-Security-Policy"
    )
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules["default-src"] == "'none'"
    assert "unsafe" not in rules["script-src"]
    assert "http" not in policy
    assert not any(name.startswith("on") for _, attrs in outline(page) for name in attrs)


def test_no_drawing_library_is_inside_and_no_script_draws(page) -> None:
    assert "plotly" not in page.lower()
    assert page.count("<script") == 2, "the clips' and the folds'"


def test_every_chart_has_words_and_pictures(page) -> None:
    charts = [a for _, a in outline(page) if "drawn" in (a.get("class") or "").split()[:1]]
    assert len(charts) == 4 + 1 + 1 + 5 + 4 + 3
    assert all(a["role"] == "img" and len(a["aria-label"] or "") > 20 for a in charts)
    twice = sum("twice" in (a["class"] or "") for a in charts)
    pictures = [a["viewbox"] for tag, a in outline(page) if tag == "svg" and a.get("font-size")]
    assert len(pictures) == len(charts) + twice
    assert twice == len(charts) - 4 - 4, "a radar is small enough, a keyboard scrolls"
    assert {v.split()[2] for v in pictures} == {"900", "358", "276"}


def test_the_colours_of_the_charts_follow_light_and_dark(page) -> None:
    used = set(re.findall(r"var\((--d\d+)\)", page))
    light, dark = re.findall(r":root\{(--d0[^}]*)\}", page)
    for theme in (light, dark):
        assert {rule.split(":")[0] for rule in theme.split(";")} >= used
    assert "#1C2127" in light
    assert "#1C2127" not in dark, "light's ink is not written on dark paper"


def test_headings_step_down_one_at_a_time(page) -> None:
    levels = [int(tag[1]) for tag, _ in outline(page) if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_tables_have_captions_and_scopes(page) -> None:
    tags = outline(page)
    assert sum(tag == "table" for tag, _ in tags) == sum(tag == "caption" for tag, _ in tags)
    assert all("scope" in a for tag, a in tags if tag == "th")
    assert {"header", "main", "nav", "footer"} <= {tag for tag, _ in tags}


@pytest.mark.slow
def test_hostile_text_stays_text() -> None:
    c = make_comparison((HOSTILE, *NAMES[1:]))
    notes = {
        "p0": (Finding(visit_id="v", point="plate", grade=2, note=HOSTILE, place=HOSTILE, examiner=HOSTILE),)
    }
    clips = {"p0": (Clip(label=HOSTILE, key=60, mime="audio/ogg", data=b"x", seconds=1.0),)}
    html = make_page(c, findings=notes, clips=clips, provenance={HOSTILE: HOSTILE})
    assert html.count("<script") == html.count("</script>")
    assert "<script>alert" not in html
    assert not [a for tag, a in outline(html) if tag == "img" or "onerror" in a]


def test_closing_tags_in_a_chart_are_harmless() -> None:
    html = make_page(make_comparison(("</script><b>boo</b>", *NAMES[1:])))
    assert "</script><b>boo" not in html


@pytest.mark.parametrize(
    ("leave_out", "gone", "kept"),
    [
        (
            ("names",),
            ["Blue upright", "Quill", "S-077", "Ana", "second year"],
            ["Piano A", "0 Lime Row", "€1,650"],
        ),
        (("addresses",), ["Lime Row"], ["Blue upright", "Quill"]),
        (("prices",), ["€", "1,650", "EUR", "1800", "3500"], ["Blue upright", "0 Lime Row"]),
    ],
)
def test_leaving_out(leave_out, gone, kept) -> None:
    html = without_scripts(make_page(leave_out=leave_out))
    for word in gone:
        assert word not in html, word
    for word in kept:
        assert word in html, word


def test_leaving_out_an_unknown_thing() -> None:
    with pytest.raises(BadInput, match="leave_out: got"):
        make_page(leave_out=("faults",))


def test_strangers_are_refused() -> None:
    with pytest.raises(BadInput, match="clips: got p9"):
        make_page(clips={"p9": (make_clip(),)})


def test_bare_comparison_without_anything_heard_or_seen() -> None:
    text = text_of(make_page(surveys={}, findings={}, clips={}, provenance={}))
    assert "no fault heard" not in text
    assert text.count("unknown, not faultless") >= 4
    assert "Sound clips" not in text


def test_walk_away_names_no_winner() -> None:
    c = make_comparison()
    v = replace(
        c.verdict,
        kind="walk away",
        piano_id=None,
        answer=statement("verdict.walk away", nothing=as_written("keep looking.")),
        reasons=(),
    )
    text = text_of(make_page(replace(c, verdict=v)))
    assert "None of these, as things stand." in text
    assert "nothing yet" in text


def test_same_input_same_page() -> None:
    assert make_page() == make_page()


def test_write_page_leaves_nothing_half_written(tmp_path) -> None:
    path = write_page(tmp_path / "page.html", "<p>ä</p>")
    assert path.read_text(encoding="utf-8") == "<p>ä</p>"
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]
    with pytest.raises(UnicodeEncodeError):
        write_page(tmp_path / "page.html", "\ud800")
    assert path.read_text(encoding="utf-8") == "<p>ä</p>", "the old page is still whole"
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]
    with pytest.raises(BadInput, match="a folder that does not exist"):
        write_page(tmp_path / "no" / "page.html", "")


def test_clips_are_checked() -> None:
    with pytest.raises(BadInput, match="mime: got 'text/html'"):
        Clip(label="x", key=1, mime="text/html", data=b"x", seconds=1)
    with pytest.raises(BadInput, match="no bytes"):
        Clip(label="x", key=1, mime="audio/ogg", data=b"", seconds=1)


def test_one_instrument_alone_is_not_called_sure() -> None:
    c = make_comparison(("The only one",))
    html = make_page(c, surveys={}, findings={}, clips={})
    text = text_of(html)
    assert "no other to compare it with" in text
    assert "it is fit to buy 100 times in 100" in text
    assert "First choice in" not in text
    assert "Quite sure" not in text
    assert "First choice in" in text_of(make_page())
