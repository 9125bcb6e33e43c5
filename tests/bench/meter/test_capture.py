"""Hands-free capture: what is taken, what is not, and that each touch is taken once."""

from __future__ import annotations

import math

import pytest

from loomtest.bench.meter.capture import Capture, StateChange
from loomtest.bench.meter.protocol import Shown
from loomtest.readings.instrument import load_instrument
from tests.scores.capture import false_takes, steady_score

HANDHELD = load_instrument("handheld-3half")


def play(
    values: list[float], interval_s: float = 0.25, capture: Capture | None = None, step: float = 0.1
) -> list[StateChange]:
    machine = capture or Capture(HANDHELD)
    moves = []
    for index, value in enumerate(values):
        moves += machine.feed(index * interval_s, Shown(value, "ohm", step))
    return moves


OL = math.inf


def kinds(moves: list[StateChange]) -> list[str]:
    return [move.what for move in moves]


def test_a_steady_touch_is_taken_once_with_a_value_the_meter_showed() -> None:
    moves = play([OL, OL, 0.9, 0.5, 0.4, 0.4, 0.5, 0.4, 0.4, 0.4, 0.4, OL, OL, OL])
    assert kinds(moves) == ["touching", "taken", "lifted"]
    assert moves[1].value_ohm in (0.4, 0.5)
    assert moves[1].time_s == pytest.approx(6 * 0.25)  # the fourth value after the contact was pressed in


def test_a_lapse_in_a_touch_that_was_taken_does_not_take_it_again() -> None:
    steady = [0.4] * 6
    assert kinds(play([OL, *steady, OL, *steady, OL, OL, OL, *steady])).count("taken") == 2


def test_a_lapse_before_it_is_taken_begins_the_window_afresh() -> None:
    assert "taken" not in kinds(play([OL, 0.4, 0.4, 0.4, OL, 0.4, 0.4, 0.4, OL]))


@pytest.mark.parametrize("wander", [[0.4, 1.1], [0.2, 0.9, 0.5], [3.0, 2.0, 1.0, 2.0]])
def test_a_shaky_contact_is_not_taken_and_is_told(wander: list[float]) -> None:
    assert kinds(play([OL, *wander * 20])) == ["touching", "shaky"]


def test_a_creeping_value_waits_until_it_rests() -> None:
    creeping = [10.0 - 0.1 * n for n in range(12)]
    moves = play([OL, *creeping, *[8.9] * 6])
    (taken,) = [move for move in moves if move.what == "taken"]
    assert taken.time_s > 12 * 0.25
    assert taken.value_ohm == pytest.approx(8.9, abs=0.11)


def test_a_noisy_meter_does_not_hide_a_creep() -> None:
    capture = Capture(load_instrument("bench-four-wire"))
    values: list[float] = []
    for _ in range(5):  # it learns a noise of more than a digit
        values += [OL] * 20 + [0.1 + 0.001 * (-1) ** n for n in range(30)]
    values += [OL] * 20
    assert kinds(play(values, 0.05, capture, 0.001)).count("taken") == 5
    creeping = [0.1 + 0.0002 * n for n in range(60)]
    for index, value in enumerate(creeping):
        assert "taken" not in kinds(capture.feed(20.0 + 0.05 * index, Shown(value, "ohm", 0.001)))


def test_fingers_are_told_and_never_taken() -> None:
    moves = play([OL, *[1.2e6] * 8, OL, OL], step=1000.0)
    assert kinds(moves) == ["fingers"]
    assert moves[0].value_ohm == 1.2e6


def test_a_part_of_high_resistance_is_taken_when_it_is_expected() -> None:
    capture = Capture(HANDHELD)
    capture.auto_below_ohm = 1e6
    assert "taken" in kinds(play([OL, *[2.2e5] * 8], capture=capture, step=1000.0))


def test_over_range_alone_is_never_taken() -> None:
    assert play([OL] * 4000) == []


def test_a_cable_pulled_in_the_middle_of_a_touch_takes_nothing_across_the_gap() -> None:
    capture = Capture(HANDHELD)
    for index in range(3):
        assert "taken" not in kinds(capture.feed(index * 0.25, Shown(0.4, "ohm", 0.1)))
    assert "taken" not in kinds(capture.feed(0.5 + 1.1, Shown(0.4, "ohm", 0.1)))


def test_a_slow_meter_is_given_four_values() -> None:
    moves = play([OL, *[0.4] * 8], interval_s=0.5)
    (taken,) = [move for move in moves if move.what == "taken"]
    assert taken.samples == 4


def test_a_fast_fine_meter_learns_its_noise_but_keeps_to_its_limits() -> None:
    capture = Capture(load_instrument("bench-four-wire"))
    moves = []
    for index in range(400):
        touched = index % 40 >= 15
        value = 0.1 + 0.0006 * math.sin(1.7 * index) if touched else OL
        moves += capture.feed(index * 0.05, Shown(value, "ohm", 1e-9))
    assert kinds(moves).count("taken") == 10


def test_simulated_touches_are_taken_once_and_right() -> None:
    score = steady_score(HANDHELD, 200, seed=11)
    assert score.once_and_right >= 199
    assert score.twice == score.wrong == 0
    assert score.latency_ratio <= 1.2


@pytest.mark.parametrize("kind", ["open", "brushing", "fingers"])
def test_nothing_is_taken_in_a_thousand_seconds_without_a_touch(kind: str) -> None:
    assert false_takes(HANDHELD, kind, 1000.0, seed=3) == 0
