"""For all tests: what a machine lacks may skip a test at home, never in CI."""

from __future__ import annotations

import os

# Before numpy is loaded: many small matrices, and two cores shared by several processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import signal
from collections.abc import Generator
from typing import Any

import pytest

# A shell starts what runs in its background deaf to Ctrl-C, and all it starts are deaf too: tests that press it would fail.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


def skips_are_failures() -> bool:
    return os.environ.get("CI", "").lower() in ("1", "true", "yes")


LONG = ("browser", "soundfont", "slow")
"""Marks of tests that need more than Python, or about a second and more."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--all", action="store_true", help=f"run the long tests too ({', '.join(LONG)}); CI does"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Side by side (``-n``) a file's tests stay together, for they share what is slow to make, in the order from here."""
    if getattr(config.option, "numprocesses", None):
        config.option.dist, config.option.loadscopereorder = "loadfile", False
        config.pluginmanager.register(SharedDemonstration())


class SharedDemonstration:
    """Side by side, one process builds the demonstration for all the files that look at it; it takes long."""

    FILES = tuple(
        f"tests/workflow/test_{name}.py" for name in ("demonstration", "clips", "demo_drawings", "tables")
    )

    @pytest.hookimpl
    def pytest_xdist_make_scheduler(self, config: pytest.Config, log: Any) -> Any:
        from xdist.scheduler import LoadFileScheduling

        class Scheduling(LoadFileScheduling):
            def _split_scope(self, nodeid: str) -> str:
                file = str(super()._split_scope(nodeid))
                return "the demonstration" if file in SharedDemonstration.FILES else file

        return Scheduling(config, log)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    long = [item for item in items if any(item.get_closest_marker(mark) for mark in LONG)]
    # Long files first: one that came last would leave the other processes without work.
    longest = {item.path for item in long}
    items.sort(key=lambda item: item.path not in longest)
    # Who names one test or a mark wants just that.
    named = any("::" in arg for arg in config.args) or config.option.markexpr
    if config.getoption("--all") or skips_are_failures() or named:
        return
    if long:
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in set(long)]


def pytest_report_header(config: pytest.Config) -> str:
    everything = config.getoption("--all") or skips_are_failures()
    return "long tests: " + ("run" if everything else f"left out ({', '.join(LONG)}); --all runs them")


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
