"""A sitting goes on to find the place: exactly which points, with the cautions, once the fault stands."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from loomtest import judge, load_readings
from loomtest.bench.plan.plan import plan
from loomtest.bench.session.events import Asked, Ended, Event, Prompt, Recorded, Said
from loomtest.bench.session.order import Order
from loomtest.bench.session.session import Choices, Session
from loomtest.commands.log.screen import rows_of
from loomtest.commands.log.view import View
from loomtest.harness.model import Harness
from loomtest.readings.model import CapacitanceRange, Instrument, Range, VoltageRange
from loomtest.readings.run import About, RunWriter, create_run
from tests.diagnosis.place.looms import harness_of

OHMS = (Range(200.0, 0.8, 3, 0.1), Range(2e7, 1.0, 3, 1e4))
BOTH = Instrument(
    "handheld", autorange=True, lead_ohms=0.1, open_above_ohms=2e7, ranges=OHMS,
    voltage_ranges=(VoltageRange(0.2, 0.5, 2, 1e-4),),
    capacitance_ranges=(CapacitanceRange(2e-9, 1, 5, 1e-12),),
)  # fmt: skip
OHMS_ALONE = Instrument("handheld", autorange=True, lead_ohms=0.1, open_above_ohms=2e7, ranges=OHMS)
WIRES = [f"W{k},X1:{k},X2:{k},0.5,2" for k in (1, 2, 3)]


class Typist:
    """Types what a loom with a fault shows; `place`: what to type where a place is looked for."""

    def __init__(
        self, folder: Path, meter: Instrument, fault: str, place: dict[tuple[str, str], str]
    ) -> None:
        self.harness: Harness = harness_of(folder, WIRES)
        self.run, self.fault, self.place = folder / "run", fault, place
        self.writer: RunWriter = create_run(self.run, self.harness, About(instrument=meter), clock=self.clock)
        order = Order(self.harness, self.run, plan(self.harness), meter)
        self.session = Session(self.harness, self.writer, order, meter, Choices(live=False))
        self.prompts: list[Prompt] = []
        self.said: list[str] = []
        self.ended = False
        self.take(self.session.begin())
        self.take(self.session.key(0.0, "enter"))

    @staticmethod
    def clock() -> datetime:
        return datetime.now(UTC)

    def take(self, events: list[Event]) -> list[Event]:
        self.prompts += [event.prompt for event in events if isinstance(event, Asked)]
        self.said += [event.text for event in events if isinstance(event, Said | Recorded)]
        self.ended |= any(isinstance(event, Ended) for event in events)
        return events

    def ohms(self, start: str, end: str) -> str:
        same = start.split(":")[1] == end.split(":")[1]
        wires = {start.split(":")[1], end.split(":")[1]}
        if self.fault == "short" and wires == {"1", "2"}:
            return "0.5"
        return "0.2" if same and not (self.fault == "open" and wires == {"1"}) else "OL"

    def go(self) -> None:
        """Until the sitting ends, or a place is asked for that nobody has an answer to."""
        for _ in range(60):
            step = self.session.step
            if self.ended or step is None:
                return
            if step.what == "place":
                if (step.start, step.end) not in self.place:
                    return
                self.take(self.session.typed(0.0, self.place[step.start, step.end]))
            else:
                self.take(self.session.typed(0.0, self.ohms(step.start, step.end)))
        raise AssertionError(f"the sitting does not end: {self.said[-3:]}")


@pytest.fixture
def made(tmp_path: Path) -> Iterator[list[Typist]]:
    out: list[Typist] = []
    yield out
    for each in out:
        each.writer.close("stopped")


SHORT = {
    ("X1:1", "X2:1"): "36 mV 1.5 A", ("X1:2", "X2:2"): "-36 mV",
    ("X2:1", "X1:1"): "78 mV", ("X2:2", "X1:2"): "-78 mV at 1,5 A",
}  # fmt: skip
OPEN = {("X1:1", "X1:2"): "35 pF", ("X2:1", "X2:2"): "0.105 nF", ("X1:2", "X1:3"): "140 pF"}


def test_a_short_is_placed_at_the_end_of_the_sitting(tmp_path: Path, made: list[Typist]) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "short", SHORT))
    typist.go()
    assert typist.ended
    asked = [prompt for prompt in typist.prompts if prompt.cautions]
    assert typist.prompts[-4:] == asked  # never before the fault stands and all else is read
    assert [(p.red, p.black) for p in asked] == [
        ("X1 cavity 1", "X2 cavity 1"), ("X1 cavity 2", "X2 cavity 2"),
        ("X2 cavity 1", "X1 cavity 1"), ("X2 cavity 2", "X1 cavity 2"),
    ]  # fmt: skip
    assert asked[2].sentence.startswith(
        "To find the place: feed the current in at X2 cavity 1 and out at X2 cavity 2. Red lead: X2 cavity 1."
    )
    words = " ".join(asked[0].cautions)
    for caution in (
        "off the vehicle", "control unit is unplugged", "fuse and a lamp", "ten seconds", "thinnest wire",
        "along the wire, not along the wrap", "Never pierce",
    ):  # fmt: skip
        assert caution in words
    (finding,) = judge(typist.harness, load_readings(typist.run, typist.harness)).findings
    assert finding.place is not None
    assert finding.place.metres == pytest.approx(0.6, abs=0.05)


def test_a_break_is_placed_at_the_end_of_the_sitting(tmp_path: Path, made: list[Typist]) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "open", OPEN))
    typist.go()
    assert typist.ended
    asked = [prompt for prompt in typist.prompts if prompt.cautions]
    assert len(asked) == 3
    assert asked[0].first == "To find the place: turn the meter to capacitance."
    assert "tie X1:3 to X1:2 with clips" in asked[0].about
    assert not any("lamp" in caution for caution in asked[0].cautions)  # nothing is fed
    (finding,) = judge(typist.harness, load_readings(typist.run, typist.harness)).findings
    assert finding.place is not None
    assert finding.place.metres == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("fault", ["short", "open", ""])
def test_a_meter_that_cannot_is_never_asked(tmp_path: Path, made: list[Typist], fault: str) -> None:
    made.append(typist := Typist(tmp_path, OHMS_ALONE, fault, {}))
    typist.go()
    assert typist.ended


def test_a_sound_loom_is_never_asked(tmp_path: Path, made: list[Typist]) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "", {}))
    typist.go()
    assert typist.ended


def test_one_key_leaves_the_place_out(tmp_path: Path, made: list[Typist]) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "short", {}))
    typist.go()
    assert typist.session.step is not None
    assert typist.session.step.what == "place"
    typist.take(typist.session.key(0.0, "skip"))
    assert typist.ended


@pytest.mark.parametrize(
    ("typed", "answer"),
    [
        ("36", "expected the volts with their unit and the amperes"),
        ("36 mV", "expected the volts with their unit and the amperes"),
        ("0.3 ohm", "expected the volts with their unit"),
        ("36 V 1.5 A", "36 V where below a volt is expected"),
        ("36 mV 0 A", "found 0 A"),
    ],
)
def test_what_is_no_drop_is_not_taken(tmp_path: Path, made: list[Typist], typed: str, answer: str) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "short", {}))
    typist.go()
    rows = typist.writer.last_row
    typist.take(typist.session.typed(0.0, typed))
    assert answer in typist.said[-1]
    assert typist.writer.last_row == rows


def test_a_drop_is_corrected_and_taken_back_like_any_other(tmp_path: Path, made: list[Typist]) -> None:
    made.append(typist := Typist(tmp_path, BOTH, "short", dict(list(SHORT.items())[:1])))
    typist.go()
    row = typist.writer.last_row
    typist.take(typist.session.say_again(row, "38 mV"))
    again = typist.writer.reading_in(typist.writer.last_row)
    assert (again.value, again.current_a, again.start) == ("38 mV", 1.5, "X1:1")
    assert "38 mV at 1.5 A" in typist.said
    typist.take(typist.session.take_back())
    assert typist.session.step is not None
    assert (typist.session.step.start, typist.session.step.quantity) == ("X1:1", "voltage_drop")


@pytest.mark.parametrize("fault", ["short", "open"])
@pytest.mark.parametrize("live", [False, True])
def test_all_of_it_stands_on_a_small_terminal(
    tmp_path: Path, made: list[Typist], fault: str, live: bool
) -> None:
    """80 columns and 24 rows: what to feed, both points, every caution, what to type, and the keys."""
    made.append(typist := Typist(tmp_path, BOTH, fault, {}))
    typist.go()
    view = View("an orchard tractor", "before", live=live, total=6, prompt=typist.prompts[-1], message="0.2")
    rows = [text for text, _ in rows_of(view, 80, 24)]
    shown, prompt = " ".join(" ".join(rows).split()), typist.prompts[-1]
    for text in (prompt.sentence, prompt.red, prompt.black, *prompt.cautions, prompt.expected, *prompt.about):
        assert text in shown.replace(" ! ", " ")
    assert "q stop" in shown
