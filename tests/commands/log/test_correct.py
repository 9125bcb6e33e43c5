"""`log --correct`, and the keys of a session without a meter."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from loomtest.bench.plan.plan import plan
from loomtest.bench.session.events import Asked, Event, Question
from loomtest.bench.session.order import Order
from loomtest.bench.session.session import Choices, Session
from loomtest.commands.log.view import View
from loomtest.harness.load import load_harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.run import About, create_run
from tests.commands.in_process import loomtest

WIRES = "from,to\nX1:1,X2:1\nX1:2,X2:2\nX1:3,X2:3\n"


class Typist:
    """A session without a meter, and its screen's keys."""

    def __init__(self, folder: Path) -> None:
        (folder / "wires.csv").write_text(WIRES, "utf-8")
        harness = load_harness(folder / "wires.csv")
        meter = generic_handheld()
        self.run = folder / "run"
        self.writer = create_run(self.run, harness, About(instrument=meter), clock=lambda: datetime.now(UTC))
        order = Order(harness, self.run, plan(harness), meter)
        self.session = Session(harness, self.writer, order, meter, Choices(live=False))
        self.view = View("invented", "", live=False)
        self._show(self.session.begin())
        self.press("enter")

    def press(self, *names: str) -> list[Event]:
        new: list[Event] = []
        for name in names:
            new += self._show(self.view.key(name, self.session, 0.0))
        return new

    def type(self, text: str) -> list[Event]:
        return self.press(*text, "enter")

    def rows(self) -> list[tuple[str, str, str]]:
        with (self.run / "readings.csv").open(newline="", encoding="utf-8") as stream:
            return [(row["value"], row["withdraws"], row["note"]) for row in csv.DictReader(stream)]

    def _show(self, events: list[Event]) -> list[Event]:
        for event in events:
            self.view.take(event)
        return events


@pytest.fixture
def typist(tmp_path: Path) -> Iterator[Typist]:
    made = Typist(tmp_path)
    yield made
    made.writer.close("stopped")


def test_capitals_and_a_leading_comma_begin_a_value(typist: Typist) -> None:
    typist.type(",3")
    typist.type("OL")
    assert [value for value, *_ in typist.rows()] == [".3", "OL"]


@pytest.mark.parametrize("word", ["short", "no", "beep"])
def test_a_word_is_answered_and_neither_a_skip_nor_a_note(typist: Typist, word: str) -> None:
    before = typist.view.prompt
    assert not any(isinstance(event, Asked) for event in typist.type(word))
    assert typist.rows() == [] and typist.view.prompt == before and not typist.view.asks
    assert "meter shows" in typist.view.message


def test_a_single_letter_and_enter_is_a_command(typist: Typist) -> None:
    assert any(isinstance(event, Asked) for event in typist.type("s"))
    typist.type("n")
    typist.type("rain")
    typist.type("0.3")
    assert typist.rows() == [("0.3", "", "rain")]


def test_space_says_what_to_do(typist: Typist) -> None:
    typist.press(" ")
    assert "ol for over-range" in typist.view.message and typist.rows() == []


def test_a_slip_is_asked_about_and_one_key_answers(typist: Typist) -> None:
    typist.type("3")
    assert any(isinstance(event, Question) for event in typist.type("0.3"))
    assert any(isinstance(event, Asked) for event in typist.press("1"))
    assert typist.rows() == [("3", "", ""), ("0.3", "", ""), ("", "1", "mistyped")]


def test_any_line_of_the_list_is_said_again(typist: Typist) -> None:
    typist.type("0.3")
    typist.type("0.4")
    typist.type("l")
    assert [one.value for one in typist.view.listing] == ["0.3", "0.4"]
    typist.type("7")
    assert "holds no reading" in typist.view.message
    typist.type("1")
    typist.type("0.2")
    assert typist.rows()[2:] == [("", "1", "corrected"), ("0.2", "", "")]
    assert not typist.view.listing


def test_a_run_that_has_ended_is_corrected(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    loom = tmp_path / "loom"
    shutil.copytree(Path(__file__).parents[3] / "sample_runs" / "orchard_tractor", loom)
    run = str(tmp_path / "run")
    monkeypatch.setattr("sys.stdin", io.StringIO("X1:3 SOL 0.12\nX1:4 OILSW 0.42\n"))
    loomtest("log", str(loom), "--out", run)
    monkeypatch.setattr("sys.stdin", io.StringIO("2 0.24\n1 x\n9 0.1\n"))
    done = loomtest("log", str(loom), "--out", run, "--correct")
    assert done.returncode == 2
    assert "    2  X1:4 OILSW  0.42" in done.stdout
    assert "recorded 3: line 2 is taken back; recorded 4: 0.24" in done.stdout
    assert "recorded 5: line 1 is taken back" in done.stdout
    assert "not used: row 9 holds no reading to correct" in done.stdout
    with (tmp_path / "run" / "readings.csv").open(newline="", encoding="utf-8") as stream:
        rows = [(row["from"], row["value"], row["withdraws"]) for row in csv.DictReader(stream)]
    assert rows == [
        ("X1:3", "0.12", ""),
        ("X1:4", "0.42", ""),
        ("X1:4", "", "2"),
        ("X1:4", "0.24", ""),
        ("X1:3", "", "1"),
    ]
