"""In what a piano stands above the others, and where that is not known because what is possible overlaps."""

from __future__ import annotations

from collections.abc import Sequence

from pianolab.assess import Assessment
from pianolab.statements import Statement, statement


def stands_out(assessment: Assessment, rivals: Sequence[Assessment]) -> tuple[Statement, ...]:
    """Where one piano is surely above all rivals, and where it only looks so.

    Surely is where even its lower end lies above every rival's upper end; what nobody has looked at reaches down far
    and is never sure. Where only the middles are ordered, the overlap is said.

    Returns
    -------
    tuple of Statement, none to two: ``verdict.highest`` and ``verdict.overlaps``

    Examples
    --------
    >>> from pianolab.assess import assess_piano, load_prices
    >>> from pianolab.checklist import load_checklist
    >>> from pianolab.model import Piano
    >>> one, other = (assess_piano(Piano(name=n), [], survey=None, checklist=load_checklist(), prices=load_prices())
    ...     for n in "ab")
    >>> stands_out(one, [other])
    ()
    """
    sure, open_ = [], []
    for own in assessment.aspects:
        others = [r.aspect(own.aspect) for r in rivals]
        if not others:
            continue
        if all(own.low > other.high for other in others):
            sure.append(own.aspect)
        elif all(own.middle > other.middle for other in others):
            open_.append(own.aspect)
    name, about = assessment.piano.name, assessment.piano.id
    found = [("verdict.highest", sure), ("verdict.overlaps", open_)]
    return tuple(statement(kind, about, name=name, aspects=tuple(a)) for kind, a in found if a)
