"""The recorder and one recording as stills: level over time and pitch, with the keys that were played marked on it."""

from __future__ import annotations

import io
from base64 import b64encode
from collections.abc import Mapping
from typing import Any

import numpy as np
from markupsafe import Markup
from PIL import Image

from pianolab.figures.recording_plan import RANGE_DB, RecordingPlan
from pianolab.html import templates
from pianolab.units import key_to_hz

HEIGHT, LEFT, TOP, WIDE = 300, 44, 22, 1000
MARK_PX = 26
"""Marks closer than this would hide one another: only some are named."""

LOWEST_C = 4
"""Key of C1."""

DARK, LIGHT = (24, 28, 44), (250, 214, 120)


def recording_picture(plan: RecordingPlan, *, title: str = "") -> Markup:
    """An SVG with the picture inside it; nothing is fetched from elsewhere.

    Parameters
    ----------
    plan : RecordingPlan
    title : str; stands above the picture

    Returns
    -------
    Markup; a ``figure`` element with a text alternative
    """
    return Markup(
        '<figure class="recording"><svg viewBox="0 0 {w} {h}" width="100%" role="img" aria-label="{alt}">'
        '<image href="{href}" x="{left}" y="{top}" width="{wide}" height="{height}" preserveAspectRatio="none"/>'
        "{scale}{gaps}{marks}</svg><figcaption>{title}</figcaption></figure>"
    ).format(
        w=LEFT + WIDE + 6,
        h=TOP + HEIGHT + 24,
        alt=plan.alt,
        href=_png(plan),
        left=LEFT,
        top=TOP,
        wide=WIDE,
        height=HEIGHT,
        scale=_scale(plan),
        gaps=_gaps(plan),
        marks=_marks(plan),
        title=f"{title} {plan.alt}".strip(),
    )


def _png(plan: RecordingPlan) -> str:
    share = np.clip(np.nan_to_num(plan.level_db.T[::-1], nan=-RANGE_DB) / RANGE_DB + 1.0, 0.0, 1.0)[
        :, :, None
    ]
    colours = np.array(DARK) + share * (np.array(LIGHT) - np.array(DARK))
    room = io.BytesIO()
    Image.fromarray(colours.astype(np.uint8)).save(room, "PNG", optimize=True)
    return "data:image/png;base64," + b64encode(room.getvalue()).decode("ascii")


def _x(plan: RecordingPlan, time_s: float) -> float:
    first, last = float(plan.time_s[0]), float(plan.time_s[-1])
    share = (time_s - first) / max(last - first, 1e-9)
    return round(LEFT + WIDE * min(max(share, 0.0), 1.0), 1)


def _y(plan: RecordingPlan, hz: float) -> float:
    share = np.log(hz / plan.hz[0]) / np.log(plan.hz[-1] / plan.hz[0])
    return round(TOP + HEIGHT * (1.0 - float(np.clip(share, 0.0, 1.0))), 1)


def _scale(plan: RecordingPlan) -> Markup:
    lines = [
        Markup('<text x="{}" y="{}" font-size="12" text-anchor="end" fill="currentColor">C{}</text>').format(
            LEFT - 4, _y(plan, float(key_to_hz(LOWEST_C + 12 * octave))) + 4, 1 + octave
        )
        for octave in range(8)
    ]
    step = next(s for s in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600) if plan.seconds / s <= 14 or s == 600)
    lines += [
        Markup(
            '<text x="{}" y="{}" font-size="12" text-anchor="middle" fill="currentColor">{} s</text>'
        ).format(_x(plan, t), TOP + HEIGHT + 16, t)
        for t in range(0, int(plan.seconds) + 1, step)
        if t < 0.985 * plan.seconds
    ]
    return Markup("").join(lines)


def _gaps(plan: RecordingPlan) -> Markup:
    return Markup("").join(
        Markup('<rect x="{}" y="{}" width="{}" height="{}" fill="#d55e00" fill-opacity="0.6"/>').format(
            _x(plan, begin), TOP, max(_x(plan, end) - _x(plan, begin), 3.0), HEIGHT
        )
        for begin, end in plan.gaps_s
    )


def _marks(plan: RecordingPlan) -> Markup:
    out, last = [], -1e9
    for struck in plan.struck:
        x = _x(plan, struck.time_s)
        out.append(
            Markup(
                '<line x1="{0}" x2="{0}" y1="{1}" y2="{2}" stroke="#56b4e9" stroke-width="1" stroke-opacity="0.7"/>'
            ).format(x, TOP, TOP + HEIGHT)
        )
        if struck.f1_hz is not None:
            out.append(
                Markup(
                    '<circle cx="{}" cy="{}" r="3" fill="none" stroke="#ffffff" stroke-width="1.5"/>'
                ).format(x, _y(plan, struck.f1_hz))
            )
        if x - last >= MARK_PX:
            last = x
            out.append(
                Markup(
                    '<text x="{}" y="{}" font-size="11" text-anchor="middle" fill="currentColor">{}</text>'
                ).format(x, TOP - 6, struck.note)
            )
    return Markup("").join(out)


def recorder_twin(
    head: Mapping[str, Any], leaving: Mapping[str, Any], line: str, *, picture: str = ""
) -> str:
    """The recorder as a still: whose recording it is, what was said last, what should be played again.

    Parameters
    ----------
    head : ``piano`` and ``day``
    leaving : ``parts``, each with ``text`` and ``keys``; empty before anything was heard
    line : what was said last
    picture : the last recording as `recording_picture` draws it
    """
    made = templates("pianolab.report").get_template("recorder_twin.html.j2")
    return made.render(head=head, parts=leaving.get("parts", ()), line=line, picture=Markup(picture))
