"""The price list: read whole, or refused with one clear line."""

from decimal import Decimal
from pathlib import Path

import pytest

from pianolab.assess import assess_piano, load_prices
from pianolab.assess.scoring import load_scoring
from pianolab.checklist import load_checklist
from pianolab.errors import BadInput
from pianolab.model import Finding, Piano
from pianolab.shipped import shipped

GOOD = """
region = "here"
currency = "SEK"
date = 2026-03-01
[jobs.tuning]
title = "one tuning"
low = 900
usual = 1200.50
high = 1500
"""


def own(folder: Path, text: str) -> Path:
    path = folder / "prices.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_shipped_list_says_that_it_is_invented() -> None:
    prices = load_prices()
    assert prices.region == "invented"
    assert prices.currency == "EUR"
    assert "ask a technician" in prices.note
    assert all(p.low <= p.usual <= p.high for p in prices)


def test_every_job_of_checklist_and_listening_has_a_price() -> None:
    prices = load_prices()
    jobs = {rule.job for point in load_checklist() for rule in point.repairs}
    jobs |= {rule.job for item in load_scoring().heard for rule in item.repairs}
    jobs |= {"first tunings", "pitch raise", "pitch advice", "tuning"}
    assert jobs <= set(prices.jobs)


def test_money_is_decimal_as_written(tmp_path: Path) -> None:
    assert load_prices(own(tmp_path, GOOD))["tuning"].usual == Decimal("1200.5")


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            "low = 900",
            "low = -900",
            r"prices\.toml, line 5: tuning: low: got -900, need 0 or more\. A minus sign",
        ),
        ("low = 900", "low = 1300", r"tuning: got 1300, 1200.5, 1500, need low not above usual"),
        ("high = 1500", "high = 1100", r"need low not above usual, usual not above high"),
        ('"SEK"', '"XQQ"', r"currency: got 'XQQ', need a three-letter currency code"),
        ('"SEK"', '"kr"', r"currency: got 'kr'"),
        ("low = 900", 'low = "cheap"', r"low: got 'cheap', need an amount of money"),
        ("low = 900", "low = nan", r"low: got nan, need 0 or more"),
        ("low = 900\n", "", r"tuning: low: got None, need an amount of money"),
        ("date = 2026-03-01", 'date = "March"', r"date: got 'March', need a date such as"),
        ("date = 2026-03-01\n", "", r"date: got nothing"),
        (
            "high = 1500",
            'high = 1500\nper = "hour"',
            r"per: got 'hour', need one of piano, key, string, way, flight, kilometre, year",
        ),
        (
            "high = 1500",
            'high = 1500\nincludes = ["voicing"]',
            r"includes: got \['voicing'\], need jobs of this list or",
        ),
        ("high = 1500", "high = 1500\nown_work = 2", r"own_work: got 2, need a part from 0 to 1"),
        ("high = 1500", "high = 1500\nhigher = 3", r"tuning: got \['higher'\], need only title"),
        ("high = 1500", 'high = 1500\nhours = "long"', r"hours: got 'long', need working hours, 0 or more"),
        ("high = 1500", "high = 1500\nhours = -1", r"hours: got -1, need working hours"),
        (
            "high = 1500",
            'high = 1500\nincludes = "tuning"',
            r"includes: got 'tuning', need a list of other jobs",
        ),
        (
            "high = 1500",
            'high = 1500\nincludes = ["tuning"]',
            r"includes: got the job itself, need a list of other",
        ),
        (
            'region = "here"',
            'region = "here"\ncountry = "SE"',
            r"prices\.toml: got \['country'\], need only currency, date",
        ),
        (
            "high = 1500",
            'high = 1500\nneed = "nice"',
            r"need: got 'nice', need one of needed, keeps value, looks",
        ),
        ("high = 1500", 'high = 1500\nneed = ["looks"]', r"need: got \['looks'\], need one of needed"),
        ("high = 1500", 'high = 1500\nkind = "play"', r"kind: got 'play', need one of work, carrying"),
        ("high = 1500", "high = 1500\ngrand = [3, 2, 1]", r"grand: got 3, 2, 1, need low not above usual"),
        ("high = 1500", "high = 1500\ngrand = 1500", r"grand: got 1500, need three amounts"),
        ("high = 1500", "high = 1500\nupright = [1, -2, 3]", r"upright: usual: got -2, need 0 or more"),
        ("high = 1500", "high = 1500\ninstead_of = 3", r"instead_of: got 3, need other jobs, each with"),
        (
            "high = 1500",
            'high = 1500\ninstead_of = { "key tops" = 0 }',
            r"instead_of: got .*, need other jobs, each with a number from 1",
        ),
        (
            "high = 1500",
            "high = 1500\ninstead_of = { polish = 2 }",
            r"instead_of: got \['polish'\], need jobs of",
        ),
        ("high = 1500", 'high = 1500\nseldom_worth = "yes"', r"seldom_worth: got 'yes', need true or false"),
        ("high = 1500", "high = ", r"got text that can't be read, need a TOML file"),
    ],
)
def test_bad_list_gives_one_clear_line(tmp_path: Path, old: str, new: str, line: str) -> None:
    assert old in GOOD
    with pytest.raises(BadInput, match=line) as caught:
        load_prices(own(tmp_path, GOOD.replace(old, new)))
    assert "\n" not in str(caught.value)


def test_unknown_job_is_named_with_a_guess() -> None:
    with pytest.raises(BadInput, match=r"got 'tunning', need a job of the price list\. Did you mean tuning"):
        load_prices()["tunning"]


EURO = GOOD.replace('"SEK"', '"EUR"')


def test_a_job_that_the_own_list_lacks_has_the_usual_price_and_is_named(tmp_path: Path) -> None:
    own_list = load_prices(own(tmp_path, EURO))
    assert own_list["hammer voicing"] == load_prices()["hammer voicing"]
    assert own_list["tuning"].usual == Decimal("1200.5")
    said = own_list.stand_ins(["tuning", "hammer voicing", "hammer voicing"])
    assert said.startswith(
        "prices.toml, line 9: no price for 'hammer voicing'; the figures of the usual list"
    )
    assert own_list.stand_ins(["tuning"]) == ""


def test_in_another_currency_nothing_stands_in(tmp_path: Path) -> None:
    own_list = load_prices(own(tmp_path, GOOD))
    line = r"^prices\.toml, line 9: job 'hammer voicing': got no price, need \[jobs\.'hammer voicing'\] .* in SEK"
    with pytest.raises(BadInput, match=line) as caught:
        own_list["hammer voicing"]
    assert "in EUR" in str(caught.value)
    assert own_list.stand_ins(["hammer voicing"]) == ""


def test_a_list_that_was_whole_before_new_jobs_came_still_works_and_says_what_it_lacks(
    tmp_path: Path,
) -> None:
    """In another currency, all jobs but two: they count only where something found asks for them."""
    text = shipped("datasets/prices.toml").read_text(encoding="utf-8").replace('"EUR"', '"SEK"')
    for job in ("damper set", "key top set"):
        start = text.index(f'[jobs."{job}"]')
        text = text[:start] + text[text.index("[jobs", start + 1) :]
    prices = load_prices(own(tmp_path, text))
    assert prices.missing == ("key top set", "damper set")
    assert "no price for 'key top set', 'damper set'; where nobody has looked" in prices.gaps()
    assert load_prices().gaps() == ""

    def judge(*findings: Finding) -> set[str]:
        piano = Piano(name="A", currency="SEK")
        judged = assess_piano(piano, findings, survey=None, checklist=load_checklist(), prices=prices)
        return {job.job for job in judged.repairs.jobs}

    assert "damper work" in judge()
    assert "damper set" not in judge()
    with pytest.raises(BadInput, match="job 'damper set': got no price"):
        judge(Finding(visit_id="v", point="dampers-felt", grade=1))


def test_the_usual_list_lends_and_lacks_nothing() -> None:
    assert (load_prices().lent, load_prices().missing, load_prices().notes) == ((), (), ())


def test_a_misspelt_job_is_pointed_out(tmp_path: Path) -> None:
    (note,) = load_prices(
        own(tmp_path, EURO + '[jobs."hammer voicng"]\nlow = 1\nusual = 2\nhigh = 3\n')
    ).notes
    assert note.startswith("prices.toml, line 10: hammer voicng: ")
    assert "Did you mean hammer voicing?" in note
    assert load_prices(own(tmp_path, EURO + "[jobs.polish]\nlow = 1\nusual = 2\nhigh = 3\n")).notes == ()


def test_a_list_says_where_it_comes_from(tmp_path: Path) -> None:
    assert load_prices(own(tmp_path, GOOD)).origin() == "prices.toml: here, 2026-03-01, in SEK"


def test_how_many_more_jobs_lack_a_price_is_said_where_there_are_more(tmp_path: Path) -> None:
    text = shipped("datasets/prices.toml").read_text(encoding="utf-8").replace('"EUR"', '"SEK"')

    def without(*jobs: str) -> str:
        kept = text
        for job in jobs:
            start = kept.index(f'[jobs."{job}"]')
            kept = kept[:start] + kept[kept.index("[jobs", start + 1) :]
        with pytest.raises(BadInput) as caught:
            load_prices(own(tmp_path, kept))[jobs[0]]
        return str(caught.value)

    assert "more jobs" not in without("damper set")
    assert "for 1 more job" in without("damper set", "key top set")
    assert "for 2 more jobs" in without("damper set", "key top set", "hammer voicing")
