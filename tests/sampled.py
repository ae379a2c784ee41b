"""Tests that ask the same at each of many: some in the quick run, all where the long ones run too."""

from collections.abc import Iterable
from typing import Any

import pytest

NTH = 5


def quick_at_some(items: Iterable[Any]) -> list[Any]:
    """Every fifth as it is, the others marked ``slow``."""
    return [x if i % NTH == 0 else pytest.param(x, marks=pytest.mark.slow) for i, x in enumerate(items)]
