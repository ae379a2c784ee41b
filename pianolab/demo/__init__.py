"""The demonstration: an invented shortlist with its sounds, visits and players, and the way through it."""

from pianolab.demo.book import demo_casebook
from pianolab.demo.practice import demo_second_visit
from pianolab.demo.run import demo

__all__ = ["demo", "demo_casebook", "demo_second_visit"]
