"""The demonstration: an invented shortlist with its sounds, visits and players, and the way through it."""

from pianolab.demo.practice import demo_second_visit
from pianolab.demo.run import demo
from pianolab.demo.shortlist import demo_casebook

__all__ = ["demo", "demo_casebook", "demo_second_visit"]
