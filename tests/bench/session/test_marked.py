"""The sitting with marker clips, driven as the screen drives it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from loomtest.bench.meter.protocol import Shown
from loomtest.bench.plan.markers import plan_marked
from loomtest.bench.session.events import Asked, Ended, Event, Recorded, TakenBack
from loomtest.bench.session.marked import MarkedSession
from loomtest.bench.session.session import Choices
from loomtest.diagnosis.markers.kit import range_for
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.load import load_readings
from loomtest.readings.marked import Clip
from loomtest.readings.run import About, RunWriter, create_run

METER = load_instrument("handheld-3half")
CLIPS = [Clip(marker=f"M{i}", ohms=ohm) for i, ohm in ((1, 8250.0), (2, 9310.0))]


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    (tmp_path / "wires.csv").write_text("from,to,colour\nX1:1,X2:1,red\nX1:2,X2:2,blue\n")
    return load_harness(tmp_path / "wires.csv")


@pytest.fixture
def writer(tmp_path: Path, harness: Harness) -> Iterator[RunWriter]:
    with create_run(
        tmp_path / "run", harness, About(instrument=METER), clock=lambda: datetime.now().astimezone()
    ) as opened:
        yield opened


def session(harness: Harness, writer: RunWriter) -> MarkedSession:
    held = range_for(METER, 9310)
    assert held is not None
    return MarkedSession(harness, writer, plan_marked(harness, CLIPS), METER, held, Choices(live=False))


def prompt(events: list[Event]) -> str:
    return next((e.prompt.sentence for e in events if isinstance(e, Asked)), "")


def test_clips_then_touches_without_colour_or_value(harness: Harness, writer: RunWriter) -> None:
    sitting = session(harness, writer)
    assert prompt(sitting.begin()) == "Clip M1 on X1 cavity 1."
    assert prompt(sitting.key(0, "enter")) == "Clip M2 on X1 cavity 2."
    asked = sitting.key(0, "enter")
    assert prompt(asked) == "Red lead: X2 cavity 1. Hands off the metal."
    shown = str([e.prompt for e in asked if isinstance(e, Asked)])
    assert not any(word in shown for word in ("red lead: red", "8250", "8.25", "blue"))
    taken = sitting.typed(0, "8250")
    told = next(e for e in taken if isinstance(e, Recorded))
    assert (told.good, told.text) == (True, "its own clip, and no other")
    done = sitting.typed(0, "9.31k")
    assert Ended("complete") in done
    marked = load_readings(writer.folder, harness).marked
    assert marked is not None
    assert marked.ohm.tolist() == [8250, 9310]
    assert len(marked.seats) == 2


def test_a_plug_is_asked_for_once_and_recorded_as_one(harness: Harness, writer: RunWriter) -> None:
    clips = [replace(clip, built_in=f"X1:{n}") for n, clip in enumerate(CLIPS, 1)]
    held = range_for(METER, 9310)
    assert held is not None
    made = plan_marked(harness, clips, held=held)
    sitting = MarkedSession(harness, writer, made, METER, held, Choices(live=False))
    assert prompt(sitting.begin()) == "Put marker plug X1 on X1 (M1 to M2)."
    assert prompt(sitting.key(0, "enter")) == "Red lead: X2 cavity 1. Hands off the metal."
    sitting.typed(0, "8250")
    assert Ended("complete") in sitting.typed(0, "9.31k")
    marked = load_readings(writer.folder, harness).marked
    assert marked is not None and [seat.clip.plug for seat in marked.seats] == ["X1", "X1"]


def test_over_range_is_kept_with_the_range_that_was_held(harness: Harness, writer: RunWriter) -> None:
    sitting = session(harness, writer)
    sitting.begin()
    sitting.key(0, "enter")
    sitting.key(0, "enter")
    odd = sitting.typed(0, "ol")
    assert prompt(odd) == "Red lead: X1 cavity 1. Hands off the metal."  # its own marked point
    marked = load_readings(writer.folder, harness).marked
    assert marked is not None
    assert marked.above_ohm.tolist() == [20_000]


def test_a_touch_taken_back_is_asked_again(harness: Harness, writer: RunWriter) -> None:
    sitting = session(harness, writer)
    sitting.begin()
    sitting.key(0, "enter")
    sitting.key(0, "enter")
    sitting.typed(0, "9310")
    back = sitting.key(0, "back")
    assert any(isinstance(e, TakenBack) for e in back)
    assert prompt(back) == "Red lead: X2 cavity 1. Hands off the metal."


def test_a_meter_on_a_cable_takes_a_steady_touch_by_itself(harness: Harness, writer: RunWriter) -> None:
    sitting = session(harness, writer)
    sitting.begin()
    sitting.key(0, "enter")
    sitting.key(0, "enter")
    events: list[Event] = []
    for n in range(20):
        events += sitting.shown(n * 0.25, Shown(8250.0, "ohm", 10.0, text="8.25 k"))
    assert [e.start for e in events if isinstance(e, Recorded)] == ["X2:1"]
