"""Rehearsals: a script is played to the letter, and a simulated loom is measured from start to verdict."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from loomtest.bench.meter.port import MeterLink, meter_for
from loomtest.bench.meter.protocol import Shown, Trouble
from loomtest.bench.meter.settings import SerialSettings
from loomtest.bench.plan.plan import plan
from loomtest.bench.rehearsal.loom import SETTINGS, LoomPort, rehearsal_instrument
from loomtest.bench.rehearsal.meter import ScriptedPort, read_script
from loomtest.bench.session.events import Asked, Ended, Event, Said
from loomtest.bench.session.order import Order
from loomtest.bench.session.session import Choices, Session
from loomtest.errors import InstrumentError
from loomtest.harness.load import load_harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.instrument import load_instrument
from loomtest.readings.load import load_readings
from loomtest.readings.run import About, create_run
from loomtest.words.verdict import judge

LAUNCH = Path(__file__).parents[3] / "sample_runs" / "fishing_launch"


class Clock:
    """Time that passes when told to."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def scripted(tmp_path: Path, text: str, clock: Clock) -> ScriptedPort:
    file = tmp_path / "talk.txt"
    file.write_text(text, "utf-8")
    return ScriptedPort(read_script(file), clock)


def play(link: MeterLink, clock: Clock, seconds: float) -> list[float | str]:
    """What happens in so many seconds: values, and kinds of trouble."""
    out: list[float | str] = []
    for _ in range(round(seconds / 0.05)):
        clock.now_s += 0.05
        for _, event in link.poll(clock.now_s):
            out.append(event.value if isinstance(event, Shown) else event.kind)
    return out


def test_a_script_is_consumed_line_by_line(tmp_path: Path) -> None:
    clock = Clock()
    text = "every 0.2\nmeter says x\nmeter says 0.4 ohm\nwait 1\nmeter says 0.5 ohm\nhold 1\nmeter says OL\n"
    port = scripted(tmp_path, text, clock)
    link = MeterLink(port.reopen, meter_for(SerialSettings(), None), SerialSettings())
    assert play(link, clock, 1.0) == [0.4]
    assert play(link, clock, 4.0) == [0.5] * (1 + 5) + [float("inf")]  # said once, then a second of it
    assert port.finished


def test_a_polled_script_answers_only_what_is_asked(tmp_path: Path) -> None:
    clock = Clock()
    settings = SerialSettings(poll="X\r", poll_every_s=0.5)
    port = scripted(
        tmp_path, "tool says X\nmeter says 0.4 ohm\nhold 1.9\ntool says X\nmeter says OL\n", clock
    )
    link = MeterLink(port.reopen, meter_for(settings, None), settings)
    assert play(link, clock, 4.0) == [0.4, 0.4, 0.4, 0.4, float("inf")]
    assert port.finished


def test_a_program_that_says_something_else_is_told_with_the_line(tmp_path: Path) -> None:
    clock = Clock()
    settings = SerialSettings(poll="X\r")
    port = scripted(tmp_path, "# a remark\ntool says D\n", clock)
    link = MeterLink(port.reopen, meter_for(settings, None), settings)
    with pytest.raises(InstrumentError, match="script line 2: the program said 'X', not 'D'"):
        play(link, clock, 1.0)


def test_a_script_can_pull_the_cable(tmp_path: Path) -> None:
    clock = Clock()
    text = "every 0.1\nmeter says x\nmeter says 0.4 ohm\nunplug 2\nmeter says 7\nmeter says 0.5 ohm\n"
    port = scripted(tmp_path, text, clock)
    link = MeterLink(port.reopen, meter_for(SerialSettings(), None), SerialSettings())
    assert play(link, clock, 5.0) == [0.4, "lost", "back", 0.5]  # the half line after the plug is dropped


def test_bytes_can_be_written_as_escapes(tmp_path: Path) -> None:
    port = scripted(tmp_path, "meter says \\x00\\xff!\n", Clock())
    assert port.read() == b"\x00\xff!\r\n"


def rehearse(tmp_path: Path, faults: str) -> tuple[list[Event], Path, Path]:
    """A whole sitting on the simulated launch, on a clock of its own."""
    loom = tmp_path / "loom"
    shutil.copytree(LAUNCH, loom)
    (loom / "faults.csv").write_text("fault,wire,from,to,ohms\n" + faults, "utf-8")
    harness, instrument, clock = load_harness(loom), load_instrument("handheld-4half"), Clock()
    port = LoomPort(harness, loom, instrument, clock)
    link = MeterLink(lambda: port, meter_for(SETTINGS, instrument), SETTINGS)
    run = tmp_path / "run"
    writer = create_run(run, harness, About(instrument=instrument), clock=lambda: datetime.now(UTC))
    order = Order(harness, run, plan(harness, "none"), instrument)
    session = Session(harness, writer, order, instrument, Choices(open_after_s=4.0))
    events: list[Event] = []

    def show(new: list[Event]) -> None:
        events.extend(new)
        for event in new:
            if isinstance(event, Asked):
                if session.step is None:
                    port.touch_tips()
                else:
                    port.touch(session.step.start, session.step.end)

    show(session.begin())
    for _ in range(40_000):
        clock.now_s += 0.1
        for at_s, event in link.poll(clock.now_s):
            assert not isinstance(event, Trouble), event
            show(session.shown(at_s, event))
        show(session.tick(clock.now_s))
        if isinstance(events[-1], Ended):
            writer.close("complete")
            return events, run, loom
    raise AssertionError(events[-5:])


def test_a_whole_sitting_without_hardware_finds_the_fault(tmp_path: Path) -> None:
    wire = load_harness(LAUNCH).wires[0]
    events, run, loom = rehearse(tmp_path, f"high-resistance,{wire.name},,,0.9\n")
    harness = load_harness(loom)
    verdict = judge(harness, load_readings(run, harness))
    named = [(f.fault, f.suspects[0].wire) for f in verdict.findings]
    assert ("high-resistance", wire.name) in named
    text = (run / "run.toml").read_text("utf-8")
    assert 'when = "start"' in text and 'when = "end"' in text
    assert any(isinstance(event, Said) and "touch again or press Enter" in event.text for event in events)


def test_a_whole_sitting_on_a_sound_loom_finds_nothing(tmp_path: Path) -> None:
    _, run, loom = rehearse(tmp_path, "")
    harness = load_harness(loom)
    assert judge(harness, load_readings(run, harness)).findings == ()


def test_a_rehearsed_meter_has_nothing_that_the_simulated_loom_cannot_show() -> None:
    """Else the sitting would ask for millivolts and picofarads that nobody can read."""
    for given in (generic_handheld(), load_instrument("handheld-picofarads")):
        meter = rehearsal_instrument(given)
        assert meter.ranges
        assert (meter.voltage_ranges, meter.capacitance_ranges) == ((), ())
