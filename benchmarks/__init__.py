"""Measurements of the library against sound whose truth is known, and of its speed."""
