"""The same work on many items side by side: in threads, in processes or on a cluster, through joblib.

One way for all of it: `worked` hands out results as they come, `in_parallel` is the short form in threads that
raises the first error, `pianolab.workflow.many.survey_many` the long one that goes on.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator, Iterator, Sequence
from typing import Any, Literal, TypeVar

from threadpoolctl import threadpool_limits

from pianolab.acoustics.threads import cores
from pianolab.errors import BadInput, MissingExtra, PianolabError

T = TypeVar("T")
R = TypeVar("R")
MOST_WORKERS = 4
Backend = Literal["loky", "threading", "dask"]
BACKENDS: tuple[Backend, ...] = ("loky", "threading", "dask")


def worked(
    work: Callable[[T], R], items: Sequence[T], *, jobs: int, backend: Backend = "threading"
) -> Generator[tuple[int, R | Exception]]:
    """``work`` done on every item; the item's place and its result, or the error it ended with, as they come.

    A worker that ends (killed, too little memory) takes only its own item with it: the others go on.

    Closing the generator, or Ctrl-C while it waits, begins no further item and leaves no worker running that
    the program would have to wait for.

    Parameters
    ----------
    work : called with one item; for ``loky`` and ``dask`` a function of a module
    jobs : how many at the same time; on a cluster its workers decide
    backend : ``loky`` (processes), ``threading``, ``dask`` (the cluster of the current Dask client)

    Raises
    ------
    BadInput
        an unknown backend, or ``dask`` without a client
    MissingExtra
        ``dask`` where it isn't installed

    Examples
    --------
    >>> sorted(worked(abs, [-3, 2, -1], jobs=2))
    [(0, 3), (1, 2), (2, 1)]
    """
    _check_backend(backend)
    if not items:
        return
    count = max(1, min(jobs, len(items)))
    waiting, suspects = list(range(len(items))), list[int]()
    while waiting or suspects:
        # Who was at work when a worker died is tried once more, alone: then it is known whose fault it was.
        alone = bool(suspects)
        todo = [suspects.pop(0)] if alone else waiting
        begun: set[int] = set()
        with contextlib.closing(_run(work, items, todo, begun, count=count, backend=backend)) as done:
            try:
                for place, result in done:
                    begun.discard(place)
                    if not alone:
                        waiting.remove(place)
                    yield place, result
            except Exception as error:  # what `work` raises comes as a result: this is the end of a worker
                if alone:
                    yield (
                        todo[0],
                        WorkerEnded(f"its worker ended ({type(error).__name__}); too little memory?"),
                    )
                else:
                    suspects = sorted(begun) or waiting[:count]
                    waiting = [place for place in waiting if place not in suspects]


class WorkerEnded(PianolabError):
    """The process that worked on an item ended, twice: it was killed, or had too little memory."""


def _run(
    work: Callable[[T], R],
    items: Sequence[T],
    todo: Sequence[int],
    begun: set[int],
    *,
    count: int,
    backend: Backend,
) -> Generator[tuple[int, R | Exception]]:
    """Some of the items, ``count`` at the same time; ``begun`` holds those that were handed out."""
    from joblib import Parallel, delayed, parallel_config

    def handed_out() -> Iterator[Any]:
        for place in todo:
            begun.add(place)
            yield delayed(_one)(work, place, items[place])

    # One item alone would be worked on in this very process, which must not end with it.
    processes = max(count, 2) if backend == "loky" and len(todo) == 1 < len(items) else count
    # The items share the cores: threads of the linear algebra on top of them would only wait for each other.
    with threadpool_limits(limits=1), parallel_config(backend=backend):
        parallel = Parallel(
            n_jobs=processes, return_as="generator_unordered", batch_size=1, pre_dispatch="n_jobs"
        )
        done = parallel(handed_out())
        try:
            yield from done
        finally:
            done.close()


def _one(work: Callable[[T], R], place: int, item: T) -> tuple[int, R | Exception]:
    try:
        return place, work(item)
    except Exception as error:
        return place, error


def _check_backend(backend: str) -> None:
    if backend not in BACKENDS:
        raise BadInput("backend", repr(backend), "one of " + ", ".join(BACKENDS))
    if backend != "dask":
        return
    try:
        from distributed import default_client
    except ImportError:
        raise MissingExtra("work on a cluster needs Dask: pip install 'pianolab[cluster]'") from None
    try:
        default_client()
    except ValueError:
        raise BadInput(
            "backend",
            "'dask' without a client",
            "a client first: from distributed import Client; Client(...)",
        ) from None


def in_parallel(work: Callable[[T], R], items: Sequence[T], *, workers: int | None = None) -> list[R]:
    """``work`` done on every item, in threads; results in the items' order.

    The first error is raised as soon as it happens and no further item is begun. The threads are daemons:
    an interrupted program needn't wait for them.

    Examples
    --------
    >>> in_parallel(abs, [-3, 2, -1])
    [3, 2, 1]
    """
    results: dict[int, Any] = {}
    with contextlib.closing(
        worked(work, items, jobs=min(workers or cores(), MOST_WORKERS), backend="threading")
    ) as done:
        for place, result in done:
            if isinstance(result, Exception):
                raise result
            results[place] = result
    return [results[i] for i in range(len(items))]
