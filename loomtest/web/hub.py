"""Sittings and the screens that show them: each change of a sitting goes to every screen, in order."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from anyio import to_thread

from loomtest.errors import LoomtestError
from loomtest.web.findings import found_so_far
from loomtest.web.place import Loom

if TYPE_CHECKING:
    from loomtest.web.past import PastSitting
    from loomtest.web.sitting import BenchSitting

HEARD_EVERY_S = 0.05
JUDGED_AFTER_S = 0.4  # of quiet, so that judging never stands before the next prompt
MOST_WAITING = 2000


class Room:
    """One loom at the bench: its sitting, and the screens that show it."""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom
        self.first: Callable[[], BenchSitting | PastSitting] = lambda: _last_or_new(loom)
        self.sitting: BenchSitting | PastSitting | None = None
        self._screens: set[asyncio.Queue[str]] = set()
        self._lock = asyncio.Lock()
        self._hearing: asyncio.Task[None] | None = None
        self._judging: asyncio.Task[None] | None = None
        self.found: dict[str, Any] | None = None

    async def seated(self) -> BenchSitting | PastSitting:
        """The sitting that stands; where there is none, the last run goes on, or a first one begins.

        Raises LoomtestError where neither can be.
        """
        async with self._lock:
            if self.sitting is None:
                await self._sit(self.first)
            assert self.sitting is not None
            return self.sitting

    async def begin(self, make: Callable[[], BenchSitting]) -> None:
        """Another sitting in place of the one that stands. Raises LoomtestError."""
        async with self._lock:
            if self.sitting is not None:
                await to_thread.run_sync(self.sitting.close)
                self.sitting = None
            await self._sit(make)
        assert self.sitting is not None
        self._send(await to_thread.run_sync(self.sitting.state))

    async def _sit(self, make: Callable[[], BenchSitting | PastSitting]) -> None:
        self.sitting = await to_thread.run_sync(make)
        self.found = None
        if self.sitting.meter is not None and (self._hearing is None or self._hearing.done()):
            self._hearing = asyncio.create_task(self._hear())
        self._judge_soon()

    async def do(self, command: dict[str, Any], screen: asyncio.Queue[str]) -> None:
        """Carry out a command of a screen and tell all; a refusal is told to that screen alone.

        Raises LoomtestError where it cannot be recorded.
        """
        sitting = await self.seated()
        async with self._lock:
            change = await to_thread.run_sync(sitting.do, command)
            if change["refused"]:
                screen.put_nowait(json.dumps(change, ensure_ascii=False))
            else:
                self._send(change)
        if change["rows"]:
            self._judge_soon()

    async def _hear(self) -> None:
        while (sitting := self.sitting) is not None and sitting.meter is not None and not sitting.ended:
            async with self._lock:
                try:
                    change = await to_thread.run_sync(sitting.hear)
                except LoomtestError as error:
                    change = {"kind": "trouble", "text": str(error)}
                if change is not None:
                    self._send(change)
            if change is not None and change.get("rows"):
                self._judge_soon()
            await asyncio.sleep(HEARD_EVERY_S)

    def _judge_soon(self) -> None:
        if self._judging is not None:
            self._judging.cancel()
        self._judging = asyncio.create_task(self._judge())

    async def _judge(self) -> None:
        await asyncio.sleep(JUDGED_AFTER_S)
        sitting = self.sitting
        if sitting is None or not sitting.rows:
            return
        with suppress(LoomtestError):
            self.found = await to_thread.run_sync(found_so_far, sitting.loom, sitting.folder.name)
            self._send(self.found)

    def _send(self, change: dict[str, Any]) -> None:
        text = json.dumps(change, ensure_ascii=False)
        for screen in self._screens:
            if screen.qsize() > MOST_WAITING:  # a screen that hears nothing any more
                continue
            screen.put_nowait(text)

    async def enter(self) -> asyncio.Queue[str]:
        """A screen comes: first everything, then each change."""
        sitting = await self.seated()
        screen: asyncio.Queue[str] = asyncio.Queue()
        async with self._lock:
            state = await to_thread.run_sync(sitting.state)
            screen.put_nowait(json.dumps(state, ensure_ascii=False))
            if self.found is not None:
                screen.put_nowait(json.dumps(self.found, ensure_ascii=False))
            self._screens.add(screen)
        return screen

    def tell(self, text: str) -> None:
        """A sentence for every screen."""
        self._send({"kind": "trouble", "text": text, "tone": "plain"})

    def go(self, way: str) -> None:
        """Every screen goes to another page of this loom."""
        self._send({"kind": "go", "way": way})

    async def let_go(self, run: str) -> None:
        """Nothing records into this run any more; its screens are told that it has ended."""
        from loomtest.web.past import PastSitting, ended_as

        async with self._lock:
            sitting = self.sitting
            if sitting is None or sitting.folder.name != run:
                return
            await to_thread.run_sync(sitting.close)
            status = ended_as(sitting.folder) or "stopped"
            self.sitting = await to_thread.run_sync(PastSitting, self.loom, sitting.folder, status)
            self._send(self.sitting.state())

    def leave(self, screen: asyncio.Queue[str]) -> None:
        """A screen goes."""
        self._screens.discard(screen)

    @property
    def screens(self) -> int:
        """How many show this loom now."""
        return len(self._screens)

    def close(self) -> None:
        """The server ends."""
        for task in (self._hearing, self._judging):
            if task is not None:
                task.cancel()
        if self.sitting is not None:
            self.sitting.close()


def _last_or_new(loom: Loom) -> BenchSitting | PastSitting:
    """The last run, going on where nobody ended it; a new one only where there is none."""
    from loomtest.web.past import PastSitting, ended_as
    from loomtest.web.sitting import BenchSitting  # numbers and plans: not at start-up
    from loomtest.web.wishes import SittingWishes

    runs = loom.runs()
    if runs:
        if status := ended_as(loom.run(runs[-1])):
            return PastSitting(loom, loom.run(runs[-1]), status)
        return BenchSitting(loom, loom.run(runs[-1]), SittingWishes())
    return BenchSitting(loom, loom.next_run(), SittingWishes())


class Hub:
    """The rooms of all looms that were entered."""

    def __init__(self) -> None:
        self._rooms: dict[str, Room] = {}

    def room(self, loom: Loom) -> Room:
        """The room of a loom."""
        key = str(loom.folder)
        if key not in self._rooms:
            self._rooms[key] = Room(loom)
        return self._rooms[key]

    @property
    def screens(self) -> int:
        """How many screens there are in all."""
        return sum(room.screens for room in self._rooms.values())

    def close(self) -> None:
        """The server ends: every run is closed."""
        for room in self._rooms.values():
            room.close()
