"""The answer in plain words: buy, find out first, or walk away; a veto is never talked away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pianolab.assess import Assessment
from pianolab.compare.results import NextStep, Standing, Verdict
from pianolab.model import BuyerProfile
from pianolab.show import Amount, money

COULD_CHANGE = 0.10
"""From this chance on, something unknown stands before a purchase; own choice."""

WORTH_SAYING = 0.01
"""Under this chance a step is left out of the verdict; own choice."""


@dataclass(frozen=True, kw_only=True)
class Shortlist:
    """What the verdict looks at, in one order: judged pianos, their standings, and what could be learned.

    ``all_unknown_chance`` is, for each piano, the chance that knowing everything about it changes the choice.
    """

    assessments: Sequence[Assessment]
    standings: Sequence[Standing]
    steps: Sequence[NextStep]
    all_unknown_chance: Sequence[float]
    profile: BuyerProfile


def give_verdict(shortlist: Shortlist) -> Verdict:
    """The verdict on a shortlist."""
    obstacles = [s.obstacle for s in shortlist.standings]
    open_to_buy = [i for i, obstacle in enumerate(obstacles) if not obstacle]
    if not open_to_buy:
        return _walk_away(shortlist, obstacles)
    leader = max(open_to_buy, key=lambda i: shortlist.standings[i].rank_shares[0])
    before = _find_out(shortlist, leader)
    if before:
        return _find_out_first(shortlist, leader, obstacles, before)
    return _buy(shortlist, leader, obstacles)


def _find_out(shortlist: Shortlist, leader: int) -> list[NextStep]:
    """The steps that stand before buying the leader, the weightiest first."""
    mine = shortlist.standings[leader].piano_id
    open_steps = [s for s in shortlist.steps if s.piano_id == mine or s.chance_to_change >= COULD_CHANGE]
    doubtful = shortlist.all_unknown_chance[leader] >= COULD_CHANGE
    judged = shortlist.assessments[leader]
    unready = bool(judged.hidden_by_tuning) or not judged.heard or judged.piano.asking_price is None
    rivals = any(s.chance_to_change >= COULD_CHANGE for s in open_steps)
    return open_steps if doubtful or unready or rivals else []


def _walk_away(shortlist: Shortlist, obstacles: Sequence[str]) -> Verdict:
    lines = [f"{a.piano.name}: {why}." for a, why in zip(shortlist.assessments, obstacles, strict=True)]
    stopped = [a.piano.name for a in shortlist.assessments if a.vetoes]
    if stopped:
        lines.append(f"Only a technician who has looked could change that for {_and(stopped)}.")
    headline = "Walk away: " + (
        "nothing on this shortlist can be recommended as it stands."
        if len(lines) > 1 + bool(stopped)
        else "this piano can't be recommended as it stands."
    )
    return Verdict(kind="walk away", piano_id=None, headline=headline, sentences=tuple(lines), how_sure=1.0)


def _find_out_first(
    shortlist: Shortlist, leader: int, obstacles: Sequence[str], steps: Sequence[NextStep]
) -> Verdict:
    standing = shortlist.standings[leader]
    lines = [_lead_sentence(shortlist, leader)]
    if hidden := shortlist.assessments[leader].hidden_by_tuning:
        lines.append(f"{hidden[:1].upper()}{hidden[1:]}.")
    weighty = [s for s in steps if s.chance_to_change >= WORTH_SAYING] or list(steps[:1])
    lines += [f"{s.piano_name}: {s.text}{_chance(s)}." for s in weighty[:3]]
    lines += _others(shortlist, obstacles)
    return Verdict(
        kind="find out first",
        piano_id=standing.piano_id,
        headline=f"Find out first: {standing.name} leads, but what is still unknown could change that.",
        sentences=tuple(lines),
        how_sure=standing.rank_shares[0],
    )


def _chance(step: NextStep) -> str:
    if step.chance_to_change < WORTH_SAYING:
        return ""
    return f" (in about {step.chance_to_change:.0%} of the cases this changes the first choice)"


def _buy(shortlist: Shortlist, leader: int, obstacles: Sequence[str]) -> Verdict:
    standing = shortlist.standings[leader]
    lines = [_lead_sentence(shortlist, leader)]
    if standing.highest_offer is not None:
        amount = _money(standing.highest_offer, shortlist.profile)
        lines.append(f"Offer at most {amount}: {standing.offer_reason}.")
    warnings = shortlist.assessments[leader].warnings
    lines += [f"Know before you sign: {w.text}" for w in warnings[:2]]
    lines.append("Have a technician look at it once before you pay.")
    lines += _others(shortlist, obstacles)
    return Verdict(
        kind="buy",
        piano_id=standing.piano_id,
        headline=f"Buy {standing.name}, if a technician's look confirms what you found.",
        sentences=tuple(lines),
        how_sure=standing.rank_shares[0],
    )


def _lead_sentence(shortlist: Shortlist, leader: int) -> str:
    standing = shortlist.standings[leader]
    if len(shortlist.standings) == 1:
        return "It is the only piano on the list: this says whether it will do, not whether it is the best."
    return (
        f"{standing.name} comes first in {standing.rank_shares[0]:.0%} of the simulated cases, over all that may "
        "matter to you and all ways in which the unknowns may turn out."
    )


def _others(shortlist: Shortlist, obstacles: Sequence[str]) -> list[str]:
    lines = []
    for standing, why in zip(shortlist.standings, obstacles, strict=True):
        if why:
            at = standing.highest_offer
            but = f"; for up to {_money(at, shortlist.profile)} it would come into question" if at else ""
            lines.append(f"{standing.name} is out for now: {_lower(why)}{but}.")
    return lines


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _and(parts: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def _money(amount: Amount, profile: BuyerProfile) -> str:
    return money(amount, profile.currency, locale=profile.locale)
