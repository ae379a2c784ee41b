"""Figures: each is planned as plain data, then drawn with plotly; each has a text alternative and a table."""

from pianolab.figures import (
    cost_ranges,
    instrument_map,
    keyboard_map,
    look,
    note_decay,
    over_keys,
    radar,
    rank_shares,
    worth_and_cost,
)
from pianolab.figures.column_chart import plan_column
from pianolab.figures.cost_plan import plan_costs
from pianolab.figures.cost_ranges import draw_costs
from pianolab.figures.drift_over_keys import draw_drift, plan_drift
from pianolab.figures.instrument_map import draw_instrument, plan_instrument
from pianolab.figures.key_chart import draw_over_keys
from pianolab.figures.keyboard_map import draw_keyboard, plan_keyboard
from pianolab.figures.look import Mark, marks_for
from pianolab.figures.note_decay import draw_note, plan_note
from pianolab.figures.over_keys import (
    draw_brightness,
    draw_damper,
    draw_decay,
    draw_tuning,
    draw_unison,
    plan_brightness,
    plan_damper,
    plan_decay,
    plan_tuning,
    plan_unison,
)
from pianolab.figures.radar import draw_radar
from pianolab.figures.radar_plan import plan_radar
from pianolab.figures.rank_shares import draw_ranks, plan_ranks
from pianolab.figures.spans import draw_spans, plan_left_pedal, plan_room_change
from pianolab.figures.then_and_now import (
    draw_marks_then_and_now,
    draw_promises,
    plan_marks_then_and_now,
    plan_promises,
)
from pianolab.figures.worth_and_cost import draw_next_steps, plan_next_steps

__all__ = [
    "Mark",
    "cost_ranges",
    "draw_brightness",
    "draw_costs",
    "draw_damper",
    "draw_decay",
    "draw_drift",
    "draw_instrument",
    "draw_keyboard",
    "draw_marks_then_and_now",
    "draw_next_steps",
    "draw_note",
    "draw_over_keys",
    "draw_promises",
    "draw_radar",
    "draw_ranks",
    "draw_spans",
    "draw_tuning",
    "draw_unison",
    "instrument_map",
    "keyboard_map",
    "look",
    "marks_for",
    "note_decay",
    "over_keys",
    "plan_brightness",
    "plan_column",
    "plan_costs",
    "plan_damper",
    "plan_decay",
    "plan_drift",
    "plan_instrument",
    "plan_keyboard",
    "plan_left_pedal",
    "plan_marks_then_and_now",
    "plan_next_steps",
    "plan_note",
    "plan_promises",
    "plan_radar",
    "plan_ranks",
    "plan_room_change",
    "plan_tuning",
    "plan_unison",
    "radar",
    "rank_shares",
    "worth_and_cost",
]
