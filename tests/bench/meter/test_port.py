"""A meter on a real pseudo-terminal, through pyserial: normal, unplugged, garbage, slow."""

from __future__ import annotations

import os
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from loomtest.bench.meter.ask import who_answers
from loomtest.bench.meter.port import MeterLink, meter_for, serial_opener
from loomtest.bench.meter.protocol import Event, Shown, Trouble
from loomtest.bench.meter.settings import SerialSettings


class Cable:
    """A pseudo-terminal under a fixed name that can be pulled out and plugged in again."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self.plug()

    def plug(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(self._slave))

    def unplug(self) -> None:
        self.name.unlink()
        os.close(self._slave)
        os.close(self.master)

    def say(self, data: bytes) -> None:
        os.write(self.master, data)

    def hear(self, seconds: float = 2.0) -> bytes:
        os.set_blocking(self.master, False)
        until, heard = time.monotonic() + seconds, b""
        while time.monotonic() < until:
            try:
                heard += os.read(self.master, 4096)
            except BlockingIOError:
                time.sleep(0.005)
            if heard.endswith((b"\n", b"\r")):
                break
        return heard


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    made = Cable(tmp_path / "port")
    yield made
    if made.name.is_symlink():
        made.unplug()


def linked(cable: Cable, **settings: object) -> MeterLink:
    chosen = SerialSettings(**settings)
    return MeterLink(serial_opener(str(cable.name), chosen), meter_for(chosen, None), chosen)


def until(link: MeterLink, wanted: Callable[[list[Event]], bool], seconds: float = 8.0) -> list[Event]:
    """Poll until what came satisfies; a test fails on what came instead."""
    events: list[Event] = []
    end = time.monotonic() + seconds
    while time.monotonic() < end and not wanted(events):
        events += [event for _, event in link.poll(time.monotonic())]
        time.sleep(0.005)
    assert wanted(events), events
    return events


def values(events: list[Event]) -> list[float]:
    return [event.value for event in events if isinstance(event, Shown)]


def kinds(events: list[Event]) -> list[str]:
    return [event.kind for event in events if isinstance(event, Trouble)]


def test_lines_arrive_as_readings(cable: Cable) -> None:
    link = linked(cable)
    cable.say(b".9 ohm\r\n0.42 ohm\r\n0.4")
    until(link, lambda events: values(events) == [0.42])
    cable.say(b"3 ohm\r\n")
    until(link, lambda events: values(events) == [0.43])
    link.close()


def test_unplugged_and_plugged_in_again_it_goes_on(cable: Cable) -> None:
    link = linked(cable)
    cable.say(b"x\r\n0.42 ohm\r\n1")
    until(link, lambda events: values(events) == [0.42])
    cable.unplug()
    until(link, lambda events: kinds(events) == ["lost"])
    cable.plug()
    until(link, lambda events: kinds(events) == ["back"])
    cable.say(b"7 ohm\r\n0.44 ohm\r\n")
    until(link, lambda events: values(events) == [0.44])  # never 17, the two halves together
    link.close()


def test_garbage_is_told_and_what_follows_is_read(cable: Cable) -> None:
    link = linked(cable)
    cable.say(b"\n" + bytes(range(128, 250)) * 4 + b"\n")
    until(link, lambda events: kinds(events) == ["wrong-rate"])
    cable.say(b"\r\n0.42 ohm\r\n")
    until(link, lambda events: values(events) == [0.42])
    link.close()


def test_a_meter_that_answers_late_is_asked_again_and_read(cable: Cable) -> None:
    link = linked(cable, poll="X\r", answer_within_s=0.3)

    def answer_the_third() -> None:
        for _ in range(3):
            cable.hear()
        cable.say(b"0.42 ohm\r\n")

    thread = threading.Thread(target=answer_the_third)
    thread.start()
    events = until(link, lambda events: values(events) == [0.42])
    thread.join()
    assert "lost" not in kinds(events)
    link.close()


def test_silence_is_told_once(cable: Cable) -> None:
    link = linked(cable, answer_within_s=0.1)
    start = time.monotonic()
    events = [event for step in range(100) for _, event in link.poll(start + 0.1 * step)]
    assert kinds(events) == ["silent"]
    link.close()


def test_a_burst_keeps_its_pace(cable: Cable) -> None:
    link = linked(cable)
    cable.say(b"\r\n")
    link.poll(10.0)
    cable.say(b"0.41 ohm\r\n0.42 ohm\r\n0.43 ohm\r\n0.44 ohm\r\n")
    time.sleep(0.05)
    assert [time_s for time_s, _ in link.poll(10.4)] == pytest.approx([10.1, 10.2, 10.3, 10.4])
    link.close()


def test_who_answers_names_a_scpi_meter(cable: Cable) -> None:
    def answer() -> None:
        while b"*IDN?" not in cable.hear(3.0):
            pass
        cable.say(b"NO MAKER,BENCH,0,1.0\n")

    thread = threading.Thread(target=answer)
    thread.start()
    assert who_answers(str(cable.name), (9600,), 0.5) == "SCPI at 9600 baud: NO MAKER,BENCH,0,1.0"
    thread.join()


def test_who_answers_knows_a_meter_that_prints(cable: Cable) -> None:
    stop = threading.Event()

    def print_lines() -> None:
        while not stop.wait(0.05):
            cable.say(b"0.42 ohm\r\n")

    thread = threading.Thread(target=print_lines)
    thread.start()
    said = who_answers(str(cable.name), (9600,), 0.5)
    stop.set()
    thread.join()
    assert said == "a meter that prints its readings at 9600 baud: '0.42 ohm'"


def test_who_answers_on_nothing(cable: Cable) -> None:
    assert who_answers(str(cable.name), (9600,), 0.1) == "no answer"
    assert "cannot be opened" in who_answers(str(cable.name) + "x", (9600,), 0.1)
