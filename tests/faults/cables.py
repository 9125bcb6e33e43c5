"""Faults of the cable to a meter or a scanner, on a real pseudo-terminal or on the board's own bytes."""

from __future__ import annotations

import math
import os
import random
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from loomtest.bench.meter.capture import Capture
from loomtest.bench.meter.port import MeterLink, meter_for, serial_opener
from loomtest.bench.meter.protocol import Event, Shown
from loomtest.bench.meter.settings import SerialSettings
from loomtest.bench.rehearsal.board import Board, RehearsalPort
from loomtest.bench.rehearsal.network import Network, Parts
from loomtest.bench.scanner.driver import Scanner
from loomtest.errors import InstrumentError
from tests.bench.meter.test_port import Cable
from tests.faults.injections import Outcome

_SETTINGS = SerialSettings()
_FRAME = b"12.34 kOhm\r\n"


def _heard(link: MeterLink, clock: list[float], enough: Callable[[list[Event]], bool]) -> list[Event]:
    """What the link tells until it is enough, at most 5 s; its clock runs a hundred times as fast as ours."""
    events: list[Event] = []
    end = time.monotonic() + 5.0
    while time.monotonic() < end and not enough(events):
        clock[0] += 0.1
        events += [event for _, event in link.poll(clock[0])]
        time.sleep(0.002)
    return events


def _values(events: list[Event]) -> list[float]:
    return [event.value for event in events if isinstance(event, Shown)]


def _at_least(count: int) -> Callable[[list[Event]], bool]:
    return lambda events: len(_values(events)) >= count


def meter_pulled_at_every_byte(folder: Path, chance: random.Random) -> Outcome:
    """The meter's cable comes out after each byte of a line, and goes in again: half a line is no value."""
    out, cable, clock = Outcome(injected=0), Cable(folder / "port"), [0.0]
    link = MeterLink(serial_opener(str(cable.name), _SETTINGS), meter_for(_SETTINGS, None), _SETTINGS)
    for cut in range(len(_FRAME) + 1):
        cable.say(b"\r\n1.00 ohm\r\n" + _FRAME[:cut])
        whole = [1.0, 12340.0] if cut > _FRAME.index(b"\r") else [1.0]
        came = _values(_heard(link, clock, _at_least(len(whole))))
        cable.unplug()
        came += _values(
            _heard(link, clock, lambda events: any(getattr(e, "kind", "") == "lost" for e in events))
        )
        cable.plug()
        _heard(link, clock, lambda events: any(getattr(e, "kind", "") == "back" for e in events))
        cable.say(_FRAME[cut:] + b"\r\n0.42 ohm\r\n")
        after = _values(_heard(link, clock, lambda events: 0.42 in _values(events)))
        out.injected += 1
        out.lost += 0.42 not in after or came[: len(whole)] != whole
        out.wrong += sum(value not in (1.0, 12340.0, 0.42) for value in came + after)
    link.close()
    cable.unplug()
    return out


class _Cut:
    """A port whose cable is out after so many bytes of the board."""

    def __init__(self, port: RehearsalPort, left: int) -> None:
        self._port, self.left = port, left

    @property
    def in_waiting(self) -> int:
        return self._port.in_waiting

    def read(self, size: int = 1) -> bytes:
        if self.left <= 0:
            raise OSError(5, "Input/output error")
        data = self._port.read(min(size, self.left))
        self.left -= len(data)
        return data

    def write(self, data: bytes) -> int | None:
        return self._port.write(data)

    def close(self) -> None:
        self._port.close()


def scanner_pulled_at_every_byte(folder: Path, chance: random.Random) -> Outcome:
    """The scanner's cable comes out after each byte of its answers to a pair: no value, or the right one."""
    network = Network(64, 64, 64, ((2, 6, 12.0),), parts=Parts(noise=0.0))
    whole = _Cut(RehearsalPort(Board(network)), 10**9)
    with Scanner(whole) as scanner:
        right = scanner.pair(3, 7)
    out = Outcome(injected=0)
    for cut in range(10**9 - whole.left):
        out.injected += 1
        try:
            with Scanner(_Cut(RehearsalPort(Board(network)), cut)) as scanner:
                out.wrong += scanner.pair(3, 7) != right
        except InstrumentError:
            continue
        out.expect(cut > 0, "an answer without a byte")
    return out


def port_shared_with_another_program(folder: Path, chance: random.Random) -> Outcome:
    """A second program of ours is refused; one that reads without asking takes bytes, and is no reading."""
    out, cable, clock = Outcome(injected=0), Cable(folder / "port"), [0.0]
    open_it = serial_opener(str(cable.name), _SETTINGS)
    link = MeterLink(open_it, meter_for(_SETTINGS, None), _SETTINGS)
    try:
        open_it().close()
        out.problems.append("a second program was let in")
    except InstrumentError as error:
        out.expect("cannot be opened" in str(error), str(error))
    thief, over = os.open(cable.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK), threading.Event()
    taken = [0]

    def steal() -> None:
        while not over.is_set():
            with suppress(BlockingIOError):
                taken[0] += len(os.read(thief, chance.randrange(1, 4)))
            time.sleep(chance.random() * 0.02)

    worker = threading.Thread(target=steal)
    worker.start()
    capture, kept, clock[0] = Capture(), list[float](), 0.0
    for line in 2 * ([b"OL\r\n"] * 15 + [b"12.34 ohm\r\n"] * 60):
        cable.say(line)
        time.sleep(0.005)
        clock[0] += 0.05
        for _, event in link.poll(clock[0]):
            if isinstance(event, Shown):
                kept += [move.value_ohm for move in capture.feed(clock[0], event) if move.what == "taken"]
    over.set()
    worker.join()
    os.close(thief)
    link.close()
    cable.unplug()
    out.injected = taken[0]
    out.wrong = sum(abs(value - 12.34) > 0.02 for value in kept if math.isfinite(value))
    return out


CABLES: dict[str, Callable[[Path, random.Random], Outcome]] = {
    "meter pulled at every byte": meter_pulled_at_every_byte,
    "scanner pulled at every byte": scanner_pulled_at_every_byte,
    "port shared": port_shared_with_another_program,
}
