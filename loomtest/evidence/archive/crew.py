"""Work on many bags by several processes at once."""

from __future__ import annotations

import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
_AT_ONCE = 20  # bags that a process takes at a time
_LEAST = 500  # bags that take longer than starting processes does
_AHEAD = 4  # lots for each process, so that none waits for the one that asks


def worked(
    task: Callable[[Item], Result], items: Sequence[Item], processes: int, *, slow: bool = False
) -> Iterator[Result]:
    """What the task gives for each item, in their order. Processes are started only where that is worth it:
    for many items, or a few `slow` ones; what they take and give must be picklable."""
    at_once = 1 if slow else _AT_ONCE
    if processes < 2 or len(items) < (2 if slow else _LEAST):
        yield from map(task, items)
        return
    # A fresh interpreter each: this process may have threads, which a copy of it would not.
    crew = ProcessPoolExecutor(processes, get_context("spawn"), _leave_interrupts_to_the_caller)
    lots: deque[Future[list[Result]]] = deque()
    try:
        for first in range(0, len(items), at_once):
            lots.append(crew.submit(_each, task, items[first : first + at_once]))
            if len(lots) > _AHEAD * processes:
                yield from lots.popleft().result()
        while lots:
            yield from lots.popleft().result()
    finally:
        crew.shutdown(cancel_futures=True)


def _each(task: Callable[[Item], Result], items: Sequence[Item]) -> list[Result]:
    return [task(item) for item in items]


def _leave_interrupts_to_the_caller() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
