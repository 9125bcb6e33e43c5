"""What a sitting makes of commands: one reading for one touch, whatever the network does."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from loomtest.web.place import Loom
from loomtest.web.sitting import BenchSitting
from loomtest.web.wishes import SittingWishes


@pytest.fixture
def sitting(loom: Path) -> Iterator[BenchSitting]:
    made = BenchSitting(Loom("tail", loom), loom / "runs" / "run-1", SittingWishes())
    yield made
    made.close()


def seen(sitting: BenchSitting) -> dict[str, Any]:
    prompt = sitting.state()["prompt"]
    return {"row": sitting.last_row, "from": prompt["from"], "to": prompt["to"]}


def value(sitting: BenchSitting, text: str, name: str = "", **more: Any) -> dict[str, Any]:
    return sitting.do({"do": "value", "text": text, "id": name, "seen": seen(sitting), **more})


def recorded(sitting: BenchSitting) -> list[dict[str, str]]:
    with (sitting.folder / "readings.csv").open() as file:
        return list(csv.DictReader(file))


def test_the_same_command_twice_is_one_reading(sitting: BenchSitting) -> None:
    before = seen(sitting)
    first = value(sitting, "0.2", "a")
    again = sitting.do({"do": "value", "text": "0.2", "id": "a", "seen": before})
    assert again == first
    assert len(recorded(sitting)) == 1


def test_what_was_meant_for_another_prompt_is_not_recorded(sitting: BenchSitting) -> None:
    before = seen(sitting)
    value(sitting, "0.2", "a")
    change = sitting.do({"do": "value", "text": "0.9", "id": "b", "seen": before})
    assert change["refused"]
    assert "Not recorded: 0.9" in change["said"]["text"]
    assert [row["value"] for row in recorded(sitting)] == ["0.2"]


def test_a_value_that_comes_again_after_a_restart_is_known(loom: Path) -> None:
    first = BenchSitting(Loom("tail", loom), loom / "runs" / "run-1", SittingWishes())
    before = seen(first)
    value(first, "0.2", "a")
    first.close()
    sitting = BenchSitting(Loom("tail", loom), loom / "runs" / "run-1", SittingWishes())
    change = sitting.do({"do": "value", "text": "0.2", "id": "a", "seen": before})
    assert "recorded already" in change["said"]["text"]
    assert len(recorded(sitting)) == 1
    sitting.close()


def test_a_value_that_fits_after_one_that_did_not_is_asked_about(sitting: BenchSitting) -> None:
    assert value(sitting, "OL")["prompt"]["from"] == seen(sitting)["from"]
    change = value(sitting, "0.2")
    assert [choice["what"] for choice in change["question"]["choices"]] == ["mistyped", "poor-touch", "jumps"]
    change = sitting.do({"do": "answer", "text": "poor-touch", "id": "q"})
    assert [(row["value"], row["back"]) for row in change["rows"]] == [("OL", True)]
    assert change["question"] is None


def test_any_reading_is_crossed_out(sitting: BenchSitting) -> None:
    for _ in range(3):
        value(sitting, "0.2")
    change = sitting.do({"do": "withdraw", "row": 1, "id": "w"})
    assert [(row["row"], row["back"]) for row in change["rows"]] == [(1, True)]
    assert recorded(sitting)[-1]["withdraws"] == "1"
    unknown = sitting.do({"do": "withdraw", "row": 77, "id": "x"})
    assert unknown["rows"] == []


def test_any_reading_is_said_again(sitting: BenchSitting) -> None:
    for text in ("0.2", "2"):
        value(sitting, text)
    change = sitting.do({"do": "correct", "row": 1, "text": "0.3", "id": "c"})
    assert [(row["value"], row["back"]) for row in change["rows"]] == [("0.2", True), ("0.3", False)]
    assert recorded(sitting)[-1]["value"] == "0.3"
    assert recorded(sitting)[-2]["withdraws"] == "1"


def test_a_command_of_any_shape_does_no_harm(sitting: BenchSitting) -> None:
    for command in ({}, {"do": 3}, {"do": "value", "text": None}, {"do": "again", "row": "x"},
                    {"do": "pair", "text": "X1:1"}, {"seen": {"row": "?"}, "do": "value", "text": "0.2"},
                    {"do": "value", "text": "9" * 5000, "seen": seen(sitting)},
                    {"do": "value", "text": "short", "seen": seen(sitting)}):  # fmt: skip
        sitting.do(command)
    assert all(len(row["value"]) <= 400 for row in recorded(sitting))
