"""The six aspects of every instrument as bands from low to high, with the buyer's weights around them.

Two to eight instruments and three to eight aspects make radars, a small one each at the same scale. A single
instrument or other numbers of aspects are easier to read as bars, and are drawn so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pianolab.assess.assessment import Assessment
from pianolab.compare.weights import middle_weights
from pianolab.errors import BadInput
from pianolab.figures.look import Mark, marks_for
from pianolab.figures.sheet import Plan
from pianolab.model import ASPECTS, Buyer
from pianolab.show import Row

MOST_SPOKES, FEWEST_SPOKES = 8, 3
WORTH_SAYING = 2.0


@dataclass(frozen=True, kw_only=True)
class AspectBand:
    """One aspect of one instrument, with the largest reason for its place and for its width."""

    aspect: str
    low: float
    high: float
    made_by: str
    unknown: str


@dataclass(frozen=True, kw_only=True)
class RadarSeries:
    """One instrument's bands, in the order of the plan's aspects."""

    piano_id: str
    mark: Mark
    bands: tuple[AspectBand, ...]


@dataclass(frozen=True, kw_only=True, repr=False)
class RadarPlan(Plan):
    """Aspect bands of the shortlist; ``weight_share`` is each aspect's part of all that counts (middle values), and
    ``money_share`` what is left of it for money itself.
    """

    aspects: tuple[str, ...]
    weight_share: tuple[float, ...]
    money_share: float
    series: tuple[RadarSeries, ...]
    form: str
    header = ("instrument", "aspect", "low", "high", "counts for", "largest reason", "largest unknown")

    def rows(self) -> list[Row]:
        return [
            (s.mark.label, b.aspect, round(b.low, 2), round(b.high, 2), f"{w:.0%}", b.made_by, b.unknown)
            for s in self.series
            for b, w in zip(s.bands, self.weight_share, strict=True)
        ]


def plan_radar(
    assessments: Sequence[Assessment],
    *,
    profile: Buyer | None = None,
    marks: Mapping[str, Mark] | None = None,
) -> RadarPlan:
    """Plan of the radar: each aspect's interval from 0 to 10, per instrument.

    Parameters
    ----------
    assessments : one per instrument, all with the same aspects
    profile : whose weights are shown; equal weights where None
    marks : letters and colours already given on a page; made from the names where None

    Returns
    -------
    RadarPlan; ``form`` is ``radar`` or ``bars``

    Raises
    ------
    BadInput : no assessment, or different aspects
    """
    if not assessments:
        raise BadInput("assessments", "none", "at least one")
    aspects = tuple(a.aspect for a in assessments[0].aspects)
    if any(tuple(b.aspect for b in a.aspects) != aspects for a in assessments):
        raise BadInput("assessments", "different aspects", "the same aspects, in one order, for all")
    marks = marks or marks_for({a.piano.id: a.piano.name for a in assessments})
    series = tuple(_series(a, marks[a.piano.id]) for a in assessments)
    shares = weight_shares(aspects, profile)
    round_form = len(series) > 1 and FEWEST_SPOKES <= len(aspects) <= MOST_SPOKES
    return RadarPlan(
        title="What is known about each aspect",
        alt=_alt(series) + _counts(money_share(profile)),
        aspects=aspects,
        weight_share=shares,
        money_share=money_share(profile),
        series=series,
        form="radar" if round_form else "bars",
    )


def weight_shares(aspects: Sequence[str], profile: Buyer | None) -> tuple[float, ...]:
    """Part of each aspect in all that counts, in the middle of the weight ranges; with money's own they add up to 1.

    Examples
    --------
    >>> weight_shares(["tone", "touch"], None)
    (0.5, 0.5)
    """
    if profile is None:
        return tuple(1.0 / len(aspects) for _ in aspects)
    middle = dict(zip(ASPECTS, middle_weights(profile)[:-1], strict=True))
    return tuple(float(middle.get(a, 0.0)) for a in aspects)


def money_share(profile: Buyer | None) -> float:
    """Money's own part in all that counts, in the middle of its range; 0 where no buyer is named.

    Examples
    --------
    >>> money_share(None), round(money_share(Buyer(name="x")), 3)
    (0.0, 0.143)
    """
    return 0.0 if profile is None else float(middle_weights(profile)[-1])


def _counts(share: float) -> str:
    return f" Money itself counts for {share:.0%} of the whole." if share else ""


def _series(a: Assessment, mark: Mark) -> RadarSeries:
    bands = []
    for r in a.aspects:
        widest = max(r.unknown, key=lambda u: u.width, default=None)
        worst = min(r.made_by, key=lambda c: c.low + c.high, default=None)
        bands.append(
            AspectBand(
                aspect=r.aspect,
                low=r.low,
                high=r.high,
                made_by=worst.text if worst else "",
                unknown=f"{widest.text} ({widest.reason})" if widest else "",
            )
        )
    return RadarSeries(piano_id=a.piano.id, mark=mark, bands=tuple(bands))


def _alt(series: tuple[RadarSeries, ...]) -> str:
    said = []
    for s in series:
        weak = min(s.bands, key=lambda b: b.low + b.high)
        strong = max(s.bands, key=lambda b: b.low + b.high)
        wide = max(s.bands, key=lambda b: b.high - b.low)
        open_part = (
            f", least known in {wide.aspect} ({span(wide)})" if wide.high - wide.low >= WORTH_SAYING else ""
        )
        said.append(
            f"{s.mark.letter} is strongest in {strong.aspect} ({span(strong)}), weakest in {weak.aspect} ({span(weak)}){open_part}"
        )
    return (
        f"On a scale from 0 to 10, {'; '.join(said)}. Wide bands mean that much was not checked or not heard."
    )


def span(b: AspectBand) -> str:
    """An interval in words.

    Examples
    --------
    >>> span(AspectBand(aspect="tone", low=4.0, high=7.5, made_by="", unknown=""))
    '4.0 to 7.5'
    """
    one, other = f"{b.low:.1f}", f"{b.high:.1f}"
    return one if one == other else f"{one} to {other}"
