"""The guided session, driven by hand: what it asks, takes, refuses, and writes."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

import pytest

from loomtest.bench.meter.protocol import Shown
from loomtest.bench.plan.plan import Step
from loomtest.bench.session.events import (
    Asked,
    Bell,
    Ended,
    Event,
    Question,
    Recorded,
    Said,
    TakenBack,
    TurnTo,
)
from loomtest.bench.session.in_a_row import goes_on
from loomtest.bench.session.session import Choices, Session
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.run import About, RunWriter, create_run

WIRES = """wire,from,to,colour,size,length,kind,ohms_min,ohms_max,circuit
W1,X1:1,X2:1,RD,1.5,1.0,wire,,,lamp
W2,X1:2,X2:2,BK,1.5,1.0,wire,,,ground
R1,X2:1,X2:2,,,,resistor,200k,240k,
D1,X1:3,X2:2,,,,diode,,,
"""
JOINED = Step(1, "continuity", "X1:1", "X2:1", 0.0163, "W1 joined", wires=("W1",))
APART = Step(2, "isolation", "X1:1", "X1:2", math.inf, "apart")
PART = Step(3, "part", "X2:1", "X2:2", None, "R1", wires=("R1",))
DIODE = Step(4, "part", "X1:3", "X2:2", None, "D1", wires=("D1",), quantity="diode")
OL = math.inf
E = TypeVar("E")


class Fixed:
    """An order of steps that is not asked to think."""

    def __init__(self, *steps: Step) -> None:
        self.steps = list(steps)

    def next(self) -> Step | None:
        return self.steps.pop(0) if self.steps else None

    def following(self, step: Step) -> tuple[Step, ...]:
        return tuple(one for one in self.steps[:2] if goes_on(step, one))

    def skip(self, step: Step) -> None:
        self.skipped = (step.start, step.end)


class Bench:
    """A session with a run folder, a clock, and a meter of four values a second."""

    def __init__(self, folder: Path, harness: Harness, steps: list[Step], **choices: object) -> None:
        self.folder, self.now_s = folder, 0.0
        four_wire = choices.pop("four_wire", True)
        self.instrument = load_instrument("bench-four-wire" if four_wire else "handheld-3half")
        about = About(instrument=self.instrument)
        self.writer: RunWriter = create_run(folder, harness, about, clock=lambda: datetime.now(UTC))
        self.session = Session(harness, self.writer, Fixed(*steps), self.instrument, Choices(**choices))
        self.events: list[Event] = self.session.begin()

    def show(self, value: float, seconds: float, function: str = "ohm", step: float = 0.001) -> list[Event]:
        new: list[Event] = []
        for _ in range(round(seconds * 4)):
            self.now_s += 0.25
            new += self.session.shown(self.now_s, Shown(value, function, step, text=f"{value}"))
            new += self.session.tick(self.now_s)
        self.events += new
        return new

    def touch(self, value: float, seconds: float = 3.0) -> list[Event]:
        return self.show(OL, 1.0) + self.show(value, seconds) + self.show(OL, 1.0)

    def key(self, key: str) -> list[Event]:
        new = self.session.key(self.now_s, key)
        self.events += new
        return new

    def rows(self) -> list[dict[str, str]]:
        with (self.folder / "readings.csv").open(newline="", encoding="utf-8") as stream:
            return list(csv.DictReader(stream))


Make = Callable[..., Bench]


def of(kind: type[E], events: Sequence[object]) -> list[E]:
    return [event for event in events if isinstance(event, kind)]


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    (tmp_path / "wires.csv").write_text(WIRES, "utf-8")
    return load_harness(tmp_path / "wires.csv")


@pytest.fixture
def make(tmp_path: Path, harness: Harness) -> Iterator[Make]:
    made: list[Bench] = []

    def build(*steps: Step, **choices: object) -> Bench:
        made.append(Bench(tmp_path / f"run{len(made)}", harness, list(steps), **choices))
        return made[-1]

    yield build
    for bench in made:
        bench.writer.close("stopped")


def test_a_touch_is_recorded_before_the_next_prompt(make: Make) -> None:
    bench = make(JOINED, APART)
    assert of(Asked, bench.events)[0].prompt.sentence == "Red lead: X1 cavity 1. Black lead: X2 cavity 1."
    assert "red 1.5 mm² wire W1" in of(Asked, bench.events)[0].prompt.about[0]
    new = bench.touch(0.017)
    kinds = [type(event) for event in new]
    assert kinds.index(Recorded) < kinds.index(Asked)
    assert [(r["from"], r["to"], r["value"], r["quantity"]) for r in bench.rows()] == [
        ("X1:1", "X2:1", "0.017", "resistance_4w")
    ]
    assert of(Recorded, new)[0].good
    assert of(Asked, new)[-1].prompt.expected == "expected over-range"
    assert of(Asked, new)[-1].prompt.stays == "red"  # X1:1 again: only the other hand moves


def test_a_doubtful_value_is_kept_asked_again_and_taken_back_by_a_good_one(make: Make) -> None:
    bench = make(JOINED, APART)
    new = bench.touch(0.83)
    (said,) = of(Said, new)
    assert said.text == "0.83 Ω where 16 mΩ is expected: touch again or press Enter to keep"
    assert of(Bell, new) == [Bell("bad")] and not of(Asked, new)
    new = bench.touch(0.017)
    (asked,) = of(Question, new)
    assert asked.rows == (1,) and "read 0.83" in asked.sentence and not of(Asked, new)
    assert bench.touch(0.5) == []  # nothing is taken until it is answered
    new = bench.key("pedal")  # both hands hold the probes: the first touch was a poor one
    assert [(r["value"], r["withdraws"], r["note"]) for r in bench.rows()] == [
        ("0.83", "", ""),
        ("0.017", "", ""),
        ("", "1", "poor touch"),
    ]
    assert len(of(TakenBack, new)) == 1
    assert len(of(Asked, new)) == 1


@pytest.mark.parametrize(
    ("key", "withdrawn"),
    [("1", {"1": "mistyped", "2": "mistyped"}), ("2", {"1": "poor touch", "2": "poor touch"}), ("3", {})],
)
def test_all_that_did_not_fit_is_taken_back_with_the_reason_or_kept(
    make: Make, key: str, withdrawn: dict[str, str]
) -> None:
    bench = make(JOINED, APART, live=False)
    for text in ("3", "7", "0.017"):
        new = bench.session.typed(0.0, text)
    assert of(Question, new)[0].rows == (1, 2)
    (again,) = bench.session.typed(0.0, "x")
    assert isinstance(again, Said) and "1, 2 or 3" in again.text
    new = bench.session.typed(0.0, key)
    rows = bench.rows()
    assert [r["value"] for r in rows if r["value"]] == ["3", "7", "0.017"]
    assert {r["withdraws"]: r["note"] for r in rows if r["withdraws"]} == withdrawn
    assert len(of(Asked, new)) == 1


def test_a_slip_beside_two_values_that_agree_is_asked_about_too(make: Make) -> None:
    bench = make(JOINED, APART, live=False)
    for text in ("3", "0.8", "0.8"):
        new = bench.session.typed(0.0, text)
    assert of(Question, new)[0].rows == (1,)
    assert of(Asked, bench.session.typed(0.0, "1"))
    assert [r["withdraws"] for r in bench.rows()] == ["", "", "", "1"]


def test_a_value_out_of_all_proportion_is_asked_back_before_it_is_recorded(make: Make) -> None:
    bench = make(JOINED, APART, live=False)
    new = bench.session.typed(0.0, "300")
    assert "300 where 16 mΩ is expected?" in of(Said, new)[0].text and bench.rows() == []
    bench.session.typed(0.0, "0.017")  # it was meant otherwise
    assert [r["value"] for r in bench.rows()] == ["0.017"]
    other = make(JOINED, APART, live=False)
    other.session.typed(0.0, "300")
    other.key("enter")
    assert [r["value"] for r in other.rows()] == ["300"]


@pytest.mark.parametrize(
    ("word", "answer"),
    [("short", "such as 0.3"), ("no", "ol where"), ("Yes", "beep alone"), ("good", "such as 0.3")],
)
def test_words_are_answered_with_what_to_type(make: Make, word: str, answer: str) -> None:
    bench = make(JOINED, live=False)
    (said,) = bench.session.typed(0.0, word)
    assert isinstance(said, Said) and answer in said.text
    assert bench.rows() == []


@pytest.mark.parametrize("text", ["OL", "ol", "o", "0L", "O.L", "open"])
def test_over_range_in_every_spelling(make: Make, text: str) -> None:
    bench = make(APART, JOINED, live=False)
    new = bench.session.typed(0.0, text)
    assert of(Recorded, new)[0].good and of(Asked, new)


def test_any_reading_is_said_again_or_taken_back_also_of_an_earlier_sitting(
    make: Make, harness: Harness
) -> None:
    bench = make(JOINED, APART, APART, JOINED, live=False)
    for text in ("0.017", "OL"):
        bench.session.typed(0.0, text)
    new = bench.session.say_again(1, ",018")
    assert of(TakenBack, new) == [TakenBack(3, 1)]
    assert of(Recorded, new)[0].row == 4 and of(Recorded, new)[0].good
    assert [(r["from"], r["value"], r["withdraws"], r["note"]) for r in bench.rows()][2:] == [
        ("X1:1", "", "1", "corrected"),
        ("X1:1", ".018", "", ""),
    ]
    (refused,) = bench.session.say_again(1, "0.02")  # it was taken back already
    assert isinstance(refused, Said) and refused.tone == "bad"
    (refused,) = bench.session.say_again(4, "zero")
    assert isinstance(refused, Said) and len(bench.rows()) == 4  # nothing is withdrawn for a slip
    assert [(one.row, one.withdrawn) for one in bench.session.readings()] == [(1, 3), (2, 0), (4, 0)]
    later = Session(harness, bench.writer, Fixed(JOINED), bench.instrument, Choices(live=False))
    later.begin()
    new = later.take_back(2)
    assert of(TakenBack, new) == [TakenBack(5, 2)]
    assert of(Asked, new)[0].prompt.expected == "expected over-range"


def test_the_last_reading_is_taken_back_at_the_leads_prompt_too(make: Make) -> None:
    bench = make(JOINED, four_wire=False, live=False)
    bench.session.typed(0.0, "0.2")
    bench.session.typed(0.0, "0.2")
    assert of(Asked, bench.key("back"))[0].prompt.kind == "probe"
    assert [r["withdraws"] for r in bench.rows()] == ["", "1"]


def test_the_same_doubtful_value_twice_is_believed(make: Make) -> None:
    bench = make(JOINED, APART)
    bench.touch(0.83)
    new = bench.touch(0.83)
    assert of(Asked, new)
    assert [(r["value"], r["withdraws"]) for r in bench.rows()] == [("0.83", ""), ("0.83", "")]


def test_enter_keeps_a_doubtful_value(make: Make) -> None:
    bench = make(JOINED, APART)
    bench.touch(0.83)
    assert of(Asked, bench.key("enter"))
    assert len(bench.rows()) == 1


def test_over_range_is_taken_by_any_key_and_never_by_itself(make: Make) -> None:
    bench = make(APART, JOINED)
    assert bench.show(OL, 60.0) == []
    new = bench.key("pedal")
    assert [(r["value"], r["range"]) for r in bench.rows()] == [("OL", "")]
    assert of(Recorded, new)[0].good and of(Asked, new)


def test_the_range_goes_with_an_over_range(make: Make) -> None:
    bench = make(APART)
    bench.session.shown(1.0, Shown(OL, "ohm", math.nan, 2000.0))
    bench.key("pedal")
    assert bench.rows()[0]["range"] == "2000.0"


def test_over_range_by_time_rings_before_it_takes(make: Make) -> None:
    bench = make(APART, JOINED, open_after_s=4.0)
    assert bench.show(OL, 2.0) == []
    assert of(Bell, bench.show(OL, 1.0)) == [Bell("soon")]
    new = bench.show(OL, 1.5)
    assert [r["value"] for r in bench.rows()] == ["OL"] and of(Asked, new)


def test_an_open_where_a_wire_should_be_is_doubtful(make: Make) -> None:
    bench = make(JOINED, APART)
    bench.show(OL, 1.0)
    new = bench.key("pedal")
    assert "over-range where 16 mΩ is expected" in of(Said, new)[0].text
    assert of(Asked, bench.key("pedal"))  # twice the same
    assert [r["value"] for r in bench.rows()] == ["OL", "OL"]


def test_a_key_on_a_contact_that_is_not_steady_takes_nothing(make: Make) -> None:
    bench = make(JOINED)
    bench.show(0.5, 0.5)
    assert not of(Recorded, bench.key("pedal"))
    assert bench.rows() == []


def test_fingers_are_asked_off_and_kept_only_by_key(make: Make) -> None:
    bench = make(APART, JOINED)
    new = bench.touch(1.2e6)
    assert "fingers off the tips, then touch again" in of(Said, new)[0].text
    assert bench.rows() == []
    bench.show(1.2e6, 2.0)
    bench.key("pedal")
    assert [r["value"] for r in bench.rows()] == ["1200000"]


def test_a_resistor_of_as_much_as_fingers_is_taken_by_itself(make: Make) -> None:
    bench = make(PART, JOINED)
    new = bench.touch(2.2e5)
    assert of(Recorded, new)[0].good


def test_volts_where_ohms_are_wanted_are_refused_with_words(make: Make) -> None:
    bench = make(JOINED)
    new = bench.show(0.3, 5.0, function="volt")
    assert len(of(Said, new)) == 1 and "resistance (Ω)" in of(Said, new)[0].text
    assert bench.rows() == []


def test_a_diode_step_turns_the_meter_and_takes_volts(make: Make) -> None:
    bench = make(DIODE, JOINED)
    assert of(TurnTo, bench.events) == [TurnTo("diode")]
    assert bench.show(0.4, 3.0) and bench.rows() == []  # ohms are refused here
    new = bench.show(OL, 1.0, "volt") + bench.show(0.56, 3.0, "volt")
    assert [(r["value"], r["quantity"]) for r in bench.rows()] == [("0.56", "diode")]
    assert of(TurnTo, new) == [TurnTo("resistance")]


def test_take_back_skip_note_and_other_pair(make: Make) -> None:
    bench = make(JOINED, APART, APART, PART)
    bench.session.set_note("rain on the bench")
    bench.touch(0.017)
    assert bench.rows()[0]["note"] == "rain on the bench"
    new = bench.key("back")
    assert bench.rows()[1]["withdraws"] == "1"
    assert of(Asked, new)[0].prompt.red == "X1 cavity 1"
    bench.touch(0.018)
    assert bench.rows()[2]["note"] == ""
    assert of(Asked, bench.key("skip"))[0].prompt.red == "X2 cavity 1"
    new = bench.session.other_pair("X1:2 X2:2")
    assert of(Asked, new)[0].prompt.sentence == "Red lead: X1 cavity 2. Black lead: X2 cavity 2."
    (refused,) = bench.session.other_pair("X1:2 X9")
    assert isinstance(refused, Said) and refused.tone == "bad" and "'X9'" in refused.text


def test_typed_values_in_every_form(make: Make) -> None:
    bench = make(JOINED, APART, APART, JOINED, live=False)
    for text in ("0.017", "ol", "."):
        bench.events += bench.session.typed(0.0, text)
    assert [r["value"] for r in bench.rows()] == ["0.017", "ol", "ol"]
    new = bench.session.typed(0.0, "zero")
    assert of(Said, new)[0].text.startswith("not taken")
    assert len(bench.rows()) == 3


@pytest.mark.parametrize(
    ("typed", "words"),
    [("1.2M", "fingers off the tips, then touch again"), ("220k", "fingers off"), ("47", "47 Ω")],
)
def test_a_typed_value_where_nothing_should_conduct_is_asked_again(
    make: Make, typed: str, words: str
) -> None:
    bench = make(APART, JOINED, live=False)
    new = bench.session.typed(0.0, typed)
    assert words in of(Said, new)[0].text and not of(Asked, new)
    assert not of(Recorded, new)[0].good


@pytest.mark.parametrize(("value", "words"), [(0.4, "0.4 Ω: joined"), (OL, "over-range: not joined")])
def test_a_probing_that_looks_for_a_fault_expects_nothing(make: Make, value: float, words: str) -> None:
    bench = make(Step(9, "locate", "X1:1", "X2:1", None, "where W1 is open"), APART)
    assert of(Asked, bench.events)[0].prompt.expected == "expected joined or not: it tells where the fault is"
    new = bench.touch(value) if value < OL else [*bench.show(OL, 1.0), *bench.key("pedal")]
    (recorded,) = of(Recorded, new)
    assert recorded.good and recorded.text == words


def test_leads_are_zeroed_at_start_and_end_with_drift(make: Make) -> None:
    bench = make(JOINED, four_wire=False)
    assert of(Asked, bench.events)[0].prompt.kind == "leads"
    for value in (0.2, 0.3, 0.2):
        new = bench.show(OL, 1.0) + bench.show(value, 3.0, step=0.1) + bench.show(OL, 1.0)
    assert of(Asked, new)[-1].prompt.kind == "probe"
    new = bench.show(0.3, 3.0, step=0.1)
    assert of(Recorded, new)[0].good  # 0.3 less 0.23 of leads
    assert of(Asked, new)[-1].prompt.kind == "leads"
    for value in (0.3, 0.3, 0.3):
        new = bench.show(OL, 1.0) + bench.show(value, 3.0, step=0.1)
    assert of(Ended, new) == [Ended("complete")]
    assert "since the start +67 mΩ" in of(Said, new)[-1].text
    bench.writer.close("complete")
    text = (bench.folder / "run.toml").read_text("utf-8")
    assert 'when = "start", ohms = 0.2333333' in text and 'when = "end", ohms = 0.3' in text
    # scatter of (0.2, 0.3, 0.2) over sqrt(3), and a digit of 0.1 over sqrt(12), in quadrature
    assert f"uncertainty_ohms = {round(math.hypot(0.1 / 3, 0.1 / math.sqrt(12)), 7)}" in text


def test_what_is_no_lead_is_not_taken_for_one(make: Make) -> None:
    bench = make(JOINED, four_wire=False)
    new = bench.touch(47.0)
    assert "hold the two tips together" in of(Said, new)[0].text
    assert "leads" not in (bench.folder / "run.toml").read_text("utf-8").split("[events]")[1]


def test_stop_ends_as_stopped_and_an_empty_order_as_complete(make: Make) -> None:
    assert of(Ended, make(JOINED).key("stop")) == [Ended("stopped")]
    bench = make(JOINED)
    assert of(Ended, bench.touch(0.017)) == [Ended("complete")]
    assert bench.touch(0.017) == []  # nothing is taken after the end


ROW = [Step(n, "isolation", "X1:1", f"X1:{n}", math.inf, "apart") for n in (2, 3)]


def test_cavities_in_a_row_are_one_prompt_and_one_line_of_values(make: Make) -> None:
    bench = make(*ROW, JOINED, live=False)
    assert of(Asked, bench.events)[0].prompt.then == ("X1:3",)
    new = bench.session.typed(0.0, "ol OL")
    assert [(r["to"], r["value"]) for r in bench.rows()] == [("X1:2", "ol"), ("X1:3", "OL")]
    assert of(Asked, new)[-1].prompt.black == "X2 cavity 1"


def test_a_touch_in_the_wrong_order_ends_the_row_where_its_value_tells(make: Make) -> None:
    bench = make(*ROW, JOINED, live=False)
    new = bench.session.typed(0.0, "0.3 ol")
    assert [(r["to"], r["value"]) for r in bench.rows()] == [("X1:2", "0.3")]
    assert "Not taken: ol" in of(Said, new)[-1].text and not of(Asked, new)


def test_a_value_with_its_unit_apart_is_no_row(make: Make) -> None:
    bench = make(*ROW, JOINED, live=False)
    bench.session.typed(0.0, "12 Mohm")
    assert [r["value"] for r in bench.rows()] == ["12 Mohm"]
