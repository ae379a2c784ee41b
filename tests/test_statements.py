"""No code reads a sentence: what is said is a statement, and only its kind, subject and numbers decide anything."""

import ast
import pathlib
import re
import string
from collections.abc import Iterator
from typing import Any

import pytest

from pianolab.assess.scoring import load_scoring
from pianolab.errors import BadInput
from pianolab.statements import Money, Statement, as_written, statement, with_changed_values
from pianolab.words import english, load_language, say

ROOT = pathlib.Path(__file__).resolve().parent.parent / "pianolab"
PROSE = frozenset(
    (
        "text",
        "reason",
        "reasons",
        "headline",
        "sentence",
        "sentences",
        "says",
        "said",
        "why",
        "note",
        "notes",
        "warnings",
        "statements",
        "cautions",
        "because",
        "offer_reason",
        "obstacle",
        "hidden_by_tuning",
        "made_by",
        "words",
        "label",
        "caption",
        "meaning",
        "basis",
        "why_unknown",
        "why_missing",
        "hint",
    )
)
"""Names of attributes and methods that give words."""
TAKES_APART = frozenset(
    (
        "startswith",
        "endswith",
        "split",
        "rsplit",
        "partition",
        "rpartition",
        "removeprefix",
        "removesuffix",
        "find",
        "index",
        "lstrip",
        "contains",
        "extract",
        "match",
        "search",
        "fullmatch",
        "findall",
    )
)
ARGUED: dict[str, str] = {
    "casebook/kept_settings.py: given.text != mine.text": "the text of a user's own file, word for word, is what is kept",
    "widgets/entries.py: finding.reason == NOTED_ONLY": "a button's reason is kept as its words, and known again here alone",
    "rooms/surfaces.py: plain in t.words": "the names under which a surface is looked up are data, not a sentence",
    "io/containers.py: 'Invalid data' in str(error)": "another library's error, which has no other mark",
}
"""Places that may read such an attribute, ``module: code``, and why."""


def gives_words(node: ast.expr, named: frozenset[str] = frozenset()) -> bool:
    """Whether an expression is an attribute with words, perhaps called or put into another case, or a name of one."""
    if isinstance(node, ast.Name):
        return node.id in named
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        first = node.args[0] if node.args else None
        is_error = isinstance(first, ast.Name) and first.id == "error"
        return node.func.id == "say" or (
            node.func.id == "str" and first is not None and (is_error or gives_words(first, named))
        )
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        tidied = node.func.attr in ("lower", "casefold", "strip") and gives_words(node.func.value, named)
        return node.func.attr in PROSE or tidied
    return isinstance(node, ast.Attribute) and node.attr in PROSE


def readings(source: str) -> Iterator[str]:
    """Code that looks into a sentence, takes one apart or compares one with another text; ``split()`` only tidies blanks."""
    return _readings(ast.parse(source), frozenset())


def _readings(node: ast.AST, named: frozenset[str]) -> Iterator[str]:
    named |= {
        loop.target.id
        for loop in (node, *getattr(node, "generators", ()))
        if isinstance(loop, (ast.For, ast.comprehension))
        and isinstance(loop.target, ast.Name)
        and gives_words(loop.iter, named)
    }
    if (isinstance(node, ast.Compare) and _compares(node, named)) or (
        isinstance(node, ast.Call) and _takes_apart(node, named)
    ):
        yield ast.unparse(node)
    for child in ast.iter_child_nodes(node):
        yield from _readings(child, named)


def _compares(node: ast.Compare, named: frozenset[str]) -> bool:
    sides = [node.left, *node.comparators]
    if any(isinstance(op, (ast.In, ast.NotIn)) for op in node.ops) and gives_words(sides[-1], named):
        return True
    words = [gives_words(side, named) for side in sides]
    written = any(_written(side) for side in sides)
    same = any(isinstance(op, (ast.Eq, ast.NotEq)) for op in node.ops)
    return same and any(words) and (written or all(words))


def _written(node: ast.expr) -> bool:
    """A text in the code, or a constant by its name in capitals."""
    if isinstance(node, ast.Name):
        return node.id.isupper() and len(node.id) > 1
    return isinstance(node, ast.Constant) and isinstance(node.value, str) and bool(node.value)


def _takes_apart(call: ast.Call, named: frozenset[str]) -> bool:
    if not isinstance(call.func, ast.Attribute) or call.func.attr not in TAKES_APART:
        return False
    if call.func.attr == "split" and not call.args:
        return False
    return gives_words(call.func.value, named) or any(gives_words(a, named) for a in call.args)


@pytest.mark.slow
def test_no_code_reads_a_sentence() -> None:
    found = {
        f"{path.relative_to(ROOT).as_posix()}: {code}"
        for path in sorted(ROOT.rglob("*.py"))
        for code in readings(path.read_text(encoding="utf-8"))
    }
    assert found == set(ARGUED), "\n".join(sorted(found ^ set(ARGUED)))


@pytest.mark.parametrize(
    "line",
    [
        'if "unison" in finding.reason: pass',
        'late = step.text.startswith("finish the walk")',
        'head = verdict.headline.split(": ")[0]',
        'if "changed by another" not in str(error): pass',
        'with_pedal = recording.note.strip().casefold().startswith("left pedal")',
        "same = before.headline() == after.headline()",
        're.search("flat", alert.text)',
        'if say(step) == "look again": pass',
        "if finding.reason == NOTED_ONLY: pass",
        'kept = [w for w in summary.warnings if "--first-key" not in w]',
        'for reason in self.reasons:\n    if reason.startswith("not"): pass',
    ],
)
def test_the_check_has_teeth(line: str) -> None:
    assert list(readings(line))


def test_the_check_lets_kinds_pass() -> None:
    assert not list(
        readings('if step.action.kind == "step.look again" and alert.says.same_as(other.says): pass')
    )


# what the code says and what the words know


def kinds_said() -> dict[str, set[str]]:
    """Kinds in the code, each with the values that come with it everywhere; those made up of parts as patterns."""
    found: dict[str, set[str]] = {}
    for path in ROOT.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if not (
                isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "statement"
            ):
                continue
            names = {k.arg for k in node.keywords if k.arg and k.arg != "evidence"}
            if any(k.arg is None for k in node.keywords):
                names.add("**")
            for kind in kinds_of(node.args[0]):
                found[kind] = found[kind] & names if kind in found else names
    return found


def kinds_of(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.Constant):
        yield str(node.value)
    elif isinstance(node, ast.IfExp):
        yield from kinds_of(node.body)
        yield from kinds_of(node.orelse)
    elif isinstance(node, ast.JoinedStr):
        yield "".join(p.value if isinstance(p, ast.Constant) else "*" for p in node.values)  # type: ignore[misc]


def fields_of(template: Any) -> set[str]:
    texts = [template] if isinstance(template, str) else [v for k, v in template.items() if k != "by"]
    return {name for text in texts for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.slow
def test_every_kind_in_the_code_has_words_with_the_values_it_brings() -> None:
    templates, said = english().templates, kinds_said()
    assert len(said) > 60
    for kind, names in said.items():
        if "*" in kind:
            pattern = re.compile(re.escape(kind).replace(r"\*", ".+"))
            assert any(pattern.fullmatch(known) for known in templates), kind
            continue
        assert kind in templates, kind
        assert fields_of(templates[kind]) <= names or "**" in names, kind


@pytest.mark.slow
def test_no_words_wait_for_a_kind_that_nobody_says() -> None:
    said = [re.compile(re.escape(kind).replace(r"\*", ".+")) for kind in kinds_said()]
    known_by_the_language = {"as written", "keys.to", "keys.more"}
    written = literals()
    for kind in english().templates:
        used = kind in known_by_the_language | written or any(p.fullmatch(kind) for p in said)
        assert used, f"nobody says {kind!r}"


def literals() -> set[str]:
    """Every text that stands in the code: some kinds are chosen from a table or kept in a constant."""
    return {
        node.value
        for path in ROOT.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def test_each_thing_heard_has_its_words() -> None:
    for item in load_scoring().heard:
        wanted = ["what", "of", "unknown"]
        wanted += ["warning"] if item.warn_from is not None else []
        wanted += ["veto"] if item.veto_from is not None else []
        assert {f"heard.{item.key}.{name}" for name in wanted} <= set(english().templates), item.key


# statements


def test_a_statement_is_frozen_hashable_and_known_by_kind_and_subject() -> None:
    eight, nine = (statement("heard.slipped strings.veto", "pins", count=n) for n in (8, 9))
    assert len({eight, nine, statement("heard.slipped strings.veto", "pins", count=8)}) == 2
    assert eight.same_as(nine)
    assert not as_written("The plate is cracked.").same_as(as_written("The block is split."))
    with pytest.raises(BadInput, match="no kind"):
        Statement(kind="")


def test_whole_sentences() -> None:
    found = statement(
        "found.value there",
        "hammers-grooves",
        title="Grooves in the hammers",
        where=("treble",),
        value=statement("found.grade", anchor="Deep, with flat tops."),
    )
    assert say(found) == "Grooves in the hammers (treble): deep, with flat tops"
    work = statement("price.work", "regulation", job=as_written("Regulating the action"))
    term = statement("price.less", "regulation", amount=Money(1234.0, "EUR"), why=work)
    assert say(term) == "less €1,230: regulating the action"
    heard = statement("heard.damper.warning", "damper", count=9, keys=(20, 21, 22, 40, 44, 50, 55, 56, 60))
    assert say(heard) == (
        "The sound goes on after the key is let go at E2 to F#2, C4, E4, A#4 and 3 more: the damper does not sit well, "
        "or its felt has hardened."
    )
    two = statement("price.subject to a look", what=("the pin block", "the bearing"))
    assert say(two) == "“I will take it, subject to a technician's look at the pin block and the bearing.”"


def test_a_statement_without_words_or_values_is_refused_in_one_line() -> None:
    with pytest.raises(BadInput, match="statement: got 'nothing like it', need a kind") as refused:
        say(statement("nothing like it"))
    assert "\n" not in str(refused.value)
    with pytest.raises(BadInput, match="need the value 'total'"):
        say(statement("heard.part hidden", unknown="x", count=1, of="keys"))


def test_what_is_left_out_is_changed_in_the_values_and_never_in_the_words() -> None:
    amounts = {"asked": Money(1900, "EUR"), "amount": Money(900, "EUR")}
    price = statement("condition.price", "price", **amounts)
    said = statement("verdict.buy if", "p0", name="what May plays", conditions=(price,))
    changed = with_changed_values(
        said, lambda v: "[left out]" if isinstance(v, Money) else v.replace("May", "somebody")
    )
    assert say(changed) == (
        "Buy what somebody plays if the price comes down from [left out] to [left out] or less."
    )
    assert changed.subject == "p0"


GERMAN = """
locale = "de_DE"
"as written" = "{text}"
stops = { by = "count", one = "{count} Grund, der dagegen spricht", other = "{count} Gründe, die dagegen sprechen" }
[keys]
to = "{first} bis {last}"
more = "{count} weitere"
[heard]
faulty = "{what} bei {count} von {total} {of} ({keys:few})"
[heard."sustain treble"]
what = "kurzer Ton"
of = "Tönen im Diskant"
[price]
limit = "Ihr Budget lässt {amount:about} für den Preis"
[verdict]
technician = "Nur ein Fachmann könnte das für {names:list} noch ändern."
[moved]
lost = "{aspect} {points:+0.0;-0.0}: {why}"
"""


def test_another_language_works() -> None:
    german = load_language(GERMAN)
    terms = {name: statement(f"heard.sustain treble.{name}") for name in ("what", "of")}
    heard = statement("heard.faulty", "sustain treble", count=4, total=24, keys=(60, 61, 62, 70), **terms)
    assert german.say(heard) == "kurzer Ton bei 4 von 24 Tönen im Diskant (G#5 bis A#5 und F#6)"
    assert german.say(statement("stops", count=1)) == "1 Grund, der dagegen spricht"
    assert german.say(statement("stops", count=3)) == "3 Gründe, die dagegen sprechen"
    names = statement("verdict.technician", names=("A", "B", "C"))
    assert german.say(names) == "Nur ein Fachmann könnte das für A, B und C noch ändern."
    lost = statement("moved.lost", "x", aspect="Klang", points=-1.25, why=as_written("kurzer Ton"))
    assert german.say(lost) == "Klang -1,2: kurzer Ton"
    rest = statement("price.limit", amount=Money(1234, "EUR", "de_DE"))
    assert german.say(rest).replace("\xa0", " ") == "Ihr Budget lässt 1.230 € für den Preis"
    with pytest.raises(BadInput, match="de_DE"):
        german.say(statement("price.gift"))
