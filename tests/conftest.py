"""For all tests: what a machine lacks may skip a test at home, never in CI."""

from __future__ import annotations

import os

# Before numpy is loaded: many small matrices, and two cores shared by several processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Generator
from typing import Any

import pytest


def skips_are_failures() -> bool:
    return os.environ.get("CI", "").lower() in ("1", "true", "yes")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[Any]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and skips_are_failures():
        reason = str(call.excinfo.value) if call.excinfo is not None else "no reason given"
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid}: skipped, but CI=true must run it ({reason})"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    if report.outcome == "skipped" and skips_are_failures():
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid}: skipped as a whole, but CI=true must run it"
    return report
