"""The plain modelled piano drawn wide: strings and a short knock, as `benchmarks.wide_model` draws them."""

from __future__ import annotations

from benchmarks.wide_model import ModelledPiano, draw_plain

__all__ = ["ModelledPiano", "draw_plain"]
