"""Points and prices of one's own: they reach every road, the casebook remembers them, and a currency without prices is
no dead end."""

from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from pianolab.casebook import Casebook, OwnFile, create_casebook, kept_settings, open_casebook
from pianolab.checklist import read_checklist
from pianolab.cli import main
from pianolab.compare.weights import draw_weights
from pianolab.errors import BadInput, CasebookError
from pianolab.model import Buyer, Finding, Piano, Room, Visit, load_profiles
from pianolab.shipped import shipped
from pianolab.workflow import Settings, decide, export, ranking_changes, visit_changes
from pianolab.workflow.currencies import indifferent_to_money

POINT = """
[[point]]
id = "strings-colour"
area = "Strings"
title = "Colour of the bass strings"
why = "Green copper has been damp for a long time."
how = "Shine along the windings."
record = "yes_no"
good_answer = true
yes_means = "the copper is bright"
no_means = "the copper is green"
aspects = { tone = 0.9 }
repairs = [{ job = "green copper", on_answer = false }]
"""
USUAL = shipped("datasets/prices.toml").read_text(encoding="utf-8")
JOB = '\n[jobs."green copper"]\ntitle = "brushing the copper"\nlow = 1000\nusual = 1100\nhigh = 1200\n'
KRONOR = USUAL.replace('currency = "EUR"', 'currency = "SEK"').replace('"invented"', '"Uppsala"') + JOB
FEW = 'currency = "EUR"\ndate = 2026-03-01\nregion = "our town"\n[jobs.tuning]\nlow = 90\nusual = 95\nhigh = 99\n'
OWN = read_checklist(POINT, file="school.toml")
FIRST, SECOND = date(2026, 3, 14), date(2026, 4, 11)
Outcome = tuple[int, str, str]


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name, text in {"school.toml": POINT, "kronor.toml": KRONOR, "few.toml": FEW}.items():
        Path(name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(place: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Outcome]:  # noqa: ARG001
    def run_it(*args: str) -> Outcome:
        code = main(["export", "book", *args])
        return code, *capsys.readouterr()

    return run_it


def make(folder: str, *, currency: str, own_point: bool, prices: tuple[int, ...] = (9000, 20000)) -> Casebook:
    """Two pianos; the strings of the first are green, where the own point is there to say so."""
    book = create_casebook(folder)
    with book.editing(by="Ana", checklist=OWN) as edit:
        for n, price in enumerate(prices):
            piano = Piano(
                id=f"p{n}",
                name=("by the window", "in the hall")[n],
                asking_price=Decimal(price),
                currency=currency,
            )
            edit.add(piano)
            edit.add(Visit(id=f"v{n}", piano_id=piano.id, day=FIRST))
            edit.add(Finding(id=f"f{n}", visit_id=f"v{n}", point="bridge-treble", grade=5))
        if own_point:
            edit.add(Finding(id="own", visit_id="v0", point="strings-colour", answer=False))
    return book


@pytest.fixture
def swedish(place: Path) -> Iterator[Casebook]:  # noqa: ARG001
    with make("book", currency="SEK", own_point=True) as book:
        yield book


@pytest.mark.slow
def test_a_casebook_with_own_points_and_prices_is_exported_and_remembers_them(run, place) -> None:
    make("book", currency="SEK", own_point=True).close()
    code, _, complaint = run("--html", "a.html")
    assert (code, complaint.count("\n")) == (2, 1)
    assert "strings-colour" in complaint
    assert "--checklist FILE" in complaint

    code, said, _ = run("--html", "a.html", "--checklist", "school.toml", "--prices", "kronor.toml")
    assert code == 0
    assert "remembered from now on: checklist school.toml, prices kronor.toml" in said
    assert "note: budget and moving cost of first piano are in EUR and were left aside" in said
    page = (place / "a.html").read_text(encoding="utf-8")
    assert "Brushing the copper" in page
    assert "kronor.toml: Uppsala, 2026-01-15, in SEK" in page

    for name in ("school.toml", "kronor.toml"):
        (place / name).unlink()
    code, said, _ = run("--html", "b.html")
    assert code == 0
    assert said.count("as this casebook remembers: checklist school.toml, prices kronor.toml\n") == 1
    assert (place / "b.html").read_bytes() == (place / "a.html").read_bytes()

    code, said, _ = run("--html", "c.html", "--prices", "usual", "--profile", "patient restorer")
    assert code == 0
    assert "note: compared without money: " in said
    assert "remembered from now on: buyer 'patient restorer', checklist school.toml\n" in said
    with open_casebook("book") as book:
        assert kept_settings(book).prices is None
        assert kept_settings(book).profile == "patient restorer"


def test_what_could_not_be_exported_is_not_remembered(run) -> None:
    make("book", currency="EUR", own_point=False).close()
    assert run("--html", "no/a.html", "--prices", "few.toml")[0] == 2
    assert run("--html", "a.html", "--profile", "my uncle")[0] == 2
    with open_casebook("book") as book:
        assert kept_settings(book).prices is None
    code, said, _ = run("--html", "a.html")
    assert code == 0
    assert "remember" not in said


def test_a_casebook_that_takes_no_writes_is_exported_and_not_remembering_is_said(
    run, place, monkeypatch
) -> None:
    make("book", currency="EUR", own_point=False).close()

    def refuse(*_: object) -> None:
        raise CasebookError("book: got a write-protected casebook, need permission to write.")

    monkeypatch.setattr("pianolab.workflow.settings.keep_settings", refuse)
    code, said, complaint = run("--html", "a.html", "--prices", "few.toml")
    assert (code, complaint) == (0, "")
    assert "note: not remembered, book: got a write-protected casebook" in said
    assert (place / "a.html").exists()


@pytest.mark.parametrize("option", ["--prices", "--checklist"])
@pytest.mark.parametrize("file", ["nothing.toml", "book", "broken.toml"])
def test_a_file_that_cannot_be_read_is_one_line(run, place, option, file) -> None:
    make("book", currency="EUR", own_point=False).close()
    (place / "broken.toml").write_text("[[point\n")
    code, _, complaint = run("--html", "a.html", option, file)
    assert (code, complaint.count("\n")) == (2, 1)
    assert file in complaint
    assert not (place / "a.html").exists()


def test_a_job_that_the_own_list_lacks_is_named_with_file_and_line(run, place) -> None:
    make("book", currency="EUR", own_point=False).close()
    code, said, _ = run("--html", "a.html", "--prices", "few.toml")
    assert code == 0
    (note,) = [line for line in said.splitlines() if line.startswith("note: ")]
    assert note.startswith("note: few.toml, line 7: no price for 'first tunings'")
    assert "'tuning'" not in note
    assert "few.toml, line 7: no price for" in (place / "a.html").read_text(encoding="utf-8").replace(
        "&#39;", "'"
    )


def test_in_another_currency_a_missing_job_is_refused_with_file_and_job(run, place) -> None:
    make("book", currency="SEK", own_point=False).close()
    (place / "few.toml").write_text(FEW.replace("EUR", "SEK"), encoding="utf-8")
    code, _, complaint = run("--html", "a.html", "--prices", "few.toml")
    assert (code, complaint.count("\n")) == (2, 1)
    assert complaint.startswith("few.toml, line 7: job '")
    assert "in SEK" in complaint
    assert not (place / "a.html").exists()


@pytest.mark.slow
def test_without_prices_in_its_currency_it_is_compared_without_money_and_nothing_is_called_0(
    run, place
) -> None:
    make("book", currency="SEK", own_point=False).close()
    code, said, complaint = run("--html", "a.html", "--tables", "tables")
    assert (code, complaint) == (0, "")
    (note,) = [line for line in said.splitlines() if line.startswith("note: ")]
    assert "compared without money: the pianos are priced in SEK" in note
    assert "--prices FILE" in note
    assert not (place / "tables" / "repairs.csv").exists()
    page = (place / "a.html").read_text(encoding="utf-8")
    assert "Money was left aside: the pianos are priced in SEK" in page
    assert "total_p50" not in (place / "tables" / "shortlist.csv").read_text(encoding="utf-8-sig")
    with open_casebook("book") as book:
        decision = decide(book)
    assert "SEK" in decision.no_money
    assert all(s.price.aim_at is None and s.total_p50 is None for s in decision.comparison.standings)
    for a in decision.comparison.assessments:
        assert a.piano.currency == "SEK"
        assert a.piano.asking_price in (9000, 20000), "what is asked is known all the same"
        assert not any(j.usual == 0 for j in a.repairs.jobs)
        assert "without prices" in a.repairs.headline()
        assert decision.years[a.piano.id].a_year is None
    assert "no price yet" in decision.table("offers")._repr_html_()
    assert "without prices" in decision.comparison.assessments[0].repairs._repr_html_()
    with pytest.raises(BadInput, match="chart: got 'costs', need prices in one currency"):
        decision.chart("costs")
    assert "--prices FILE" in decision._repr_html_()


@pytest.mark.slow
def test_prices_asked_in_two_currencies_are_not_added_up(place) -> None:  # noqa: ARG001
    with make("book", currency="EUR", own_point=False) as book:
        with book.editing(by="Ana") as edit:
            edit.add(Piano(name="far away", asking_price=Decimal(5), currency="SEK"))
            edit.add(Piano(name="no price yet"))
        assert "priced in EUR and SEK" in decide(book).no_money


def test_a_piano_without_a_price_has_no_say_in_the_currency(swedish) -> None:
    with swedish.editing(by="Ana") as edit:
        edit.add(Piano(name="no price yet"))
    decision = decide(swedish, prices="kronor.toml", checklist="school.toml")
    assert decision.no_money == ""
    assert {a.repairs.currency for a in decision.comparison.assessments} == {"SEK"}


@pytest.mark.slow
def test_without_money_a_price_parts_nobody(place) -> None:  # noqa: ARG001
    shares = []
    for name, prices in {"dear": (90, 9_000_000), "cheap": (9_000_000, 90)}.items():
        with make(name, currency="SEK", own_point=False, prices=prices) as book:
            shares.append([s.rank_shares for s in decide(book).comparison.standings])
    assert shares[0] == shares[1]
    with_money = []
    for name, prices in {"dear euro": (90, 4000), "cheap euro": (4000, 90)}.items():
        with make(name, currency="EUR", own_point=False, prices=prices) as book:
            with_money.append([s.piano_id for s in decide(book).comparison.standings])
    assert with_money[0] != with_money[1], "with money it does, so the check above can fail"


@pytest.mark.parametrize("buyer", [*load_profiles().values(), Buyer(name="x", money_weight=(0.0, 1.0))])
def test_a_buyer_without_money_weighs_the_rest_as_before(buyer: Buyer) -> None:
    free = indifferent_to_money(buyer, currency="SEK")
    free.check()
    rng = np.random.default_rng(0)
    weights = draw_weights(free, draws=500, rng=rng)
    assert np.all(weights[:, -1] == 0.0)
    before = draw_weights(buyer, draws=500, rng=rng)
    rest = before[:, :-1] / before[:, :-1].sum(axis=1, keepdims=True)
    low, high = (np.array(ends) for ends in zip(*free.weights.values(), strict=True))
    assert np.all((rest >= low - 1e-9) & (rest <= high + 1e-9)), "no way to weigh the aspects got lost"


@pytest.mark.slow
def test_own_points_count_for_the_second_visit_too(swedish) -> None:
    with swedish.editing(by="Ana", checklist=OWN) as edit:
        edit.add(Visit(id="again", piano_id="p0", day=SECOND))
        edit.add(Finding(id="brushed", visit_id="again", point="strings-colour", answer=True))
    with pytest.raises(BadInput, match="strings-colour"):
        visit_changes(swedish, "p0")
    Settings(checklist="school.toml", prices="kronor.toml").keep(swedish)
    assert "Colour of the bass strings" in visit_changes(swedish, "p0")._repr_html_()
    change = ranking_changes(swedish)
    before, after = (c.assessment("p0").aspect("tone") for c in (change.before, change.after))
    assert before.middle < after.middle
    assert any(j.job == "green copper" for j in change.before.assessment("p0").repairs.jobs)
    assert not any(j.job == "green copper" for j in change.after.assessment("p0").repairs.jobs)


def test_until_leaves_out_what_came_later(swedish) -> None:
    with swedish.editing(by="Ana") as edit:
        edit.add(Visit(id="again", piano_id="p0", day=SECOND, room=Room(length_m=5.0)))
        edit.add(Finding(id="late", visit_id="again", point="keys-chips", count=9))
    usual = Settings(checklist="school.toml", prices="kronor.toml")
    now, then = decide(swedish, usual), decide(swedish, usual, until=FIRST)
    assert [len(d.findings["p0"]) for d in (now, then)] == [3, 2]
    assert "2026-04-11" in now.provenance["Visits"]
    assert then.provenance["Visits"] == "2026-03-14"


@pytest.mark.slow
def test_settings_are_remembered_from_python_too(swedish, tmp_path) -> None:
    own = Settings(checklist="school.toml", prices=Path("kronor.toml"), seed=4)
    assert own.keep(swedish) is own
    assert Settings.of(swedish) == own
    assert Settings.of(swedish).prices == OwnFile("kronor.toml", KRONOR)
    assert "Brushing the copper" in export(swedish, tmp_path / "a.html").paths[0].read_text(encoding="utf-8")
    assert Settings.of(swedish, prices=None).prices is None


@pytest.mark.parametrize(
    ("wrong", "line"),
    [
        ({"seed": -1}, "seed: got -1, need a whole number from 0"),
        ({"seed": "3"}, "seed: got '3'"),
        ({"prices": 7}, "prices: got a int, need the path of a TOML file"),
        ({"checklist": "nothing.toml"}, "nothing.toml: got no such file"),
    ],
)
def test_settings_that_cannot_be(wrong, line) -> None:
    with pytest.raises(BadInput, match=line):
        Settings(**wrong)


def test_a_buyer_whom_nobody_knows_by_name_is_not_remembered(swedish) -> None:
    with pytest.raises(BadInput, match="'stranger'"):
        Settings(profile=Buyer(name="stranger")).keep(swedish)
    assert kept_settings(swedish).profile is None
