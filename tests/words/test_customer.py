"""Circuits and places by their names, and an answer that claims no more than was measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomtest.readings.mended import Mended
from loomtest.words.customer import Named, answer_sentence, done_sentence, now_words, wrong_sentence
from tests.evidence import example
from tests.looms.tiny import harness_of


def test_places_stand_for_codes_and_a_shared_place_keeps_its_code() -> None:
    harness = harness_of("X1:1 X2:1\nX1:2 X3:1\nX4:1 X2:2")
    harness = replace(harness, places={"X1": "helm", "X2": "stern", "X3": "stern"})
    named = Named(harness)
    assert named.places(["X1:1", "X1:2", "X2:1", "X3:1", "X4:1"]) == [
        "helm",
        "stern (X2)",
        "stern (X3)",
        "X4",
    ]
    net = named.net_at("X1:1")
    assert net is not None and named.net(net) == "the circuit from helm to stern (X2)"


def test_what_was_wrong_names_circuits_by_their_names_and_in_the_past_once_it_is_fixed() -> None:
    harness = example.tractor()
    named = Named(harness)
    _, broken, joint, short = example.FINDINGS
    assert wrong_sentence(broken, "gone", named) == (
        "A wire was broken or not connected: charge lamp could not work."
    )
    assert "will not work" in wrong_sentence(broken, "remaining", named)
    assert "starter and engine ground" in wrong_sentence(short, "gone", named)
    assert named.where(joint) == "Rear axle housing"
    for finding in example.FINDINGS:
        told = wrong_sentence(finding, "gone", named) + named.where(finding)
        assert not any(code in told for code in ("X1", "X2", "X3", "X4", "GND", "W4", "W20"))


def test_what_was_done_is_told_only_where_the_run_says_so() -> None:
    harness = example.tractor()
    named = Named(harness)
    crossed, broken, _, short = example.FINDINGS
    mended = Mended("before", ("W4",), ("X2:3", "X2:4"), (("X1:12", "X1:3"),))
    assert done_sentence(crossed, mended, named).startswith("The wires were worked on at front lamps")
    assert "brown" in done_sentence(broken, mended, named)
    assert done_sentence(short, mended, named).startswith("The two circuits were worked on at bulkhead")
    assert done_sentence(broken, Mended(), named) == ""


def test_now_is_each_value_against_its_limit_or_how_far_two_circuits_are_apart() -> None:
    harness = example.tractor()
    rows = [row for row in example.verdict(harness).wires if row.wire == "W20"]
    assert now_words(example.FINDINGS[2], "remaining", rows, None) == "0.39 Ω (at most 19 mΩ)"
    short = example.FINDINGS[3]
    assert now_words(short, "gone", [], float("inf")) == "apart: over-range"
    assert now_words(short, "remaining", [], 0.22) == "0.22 Ω"
    assert now_words(short, "not shown gone", [], None) == "not measured again"


@pytest.mark.parametrize(
    ("outcome", "states", "said"),
    [
        ("pass", ["gone", "gone"], "All 2 faults are fixed, and everything that was measured is right."),
        ("pass", [], "Everything that was measured is right."),
        ("fail", ["gone", "remaining", "new"], "Not right yet: 2 faults are left. 1 fault is fixed."),
        ("not-proven", ["gone"], "No fault is left, but not everything is proven: what was not measured"),
        ("not-proven", ["gone", "not shown gone"], "Not proven yet: 1 fault is not shown to be fixed."),
    ],
)
def test_the_answer_claims_no_more_than_was_measured(outcome: str, states: list[str], said: str) -> None:
    verdict = replace(example.verdict(example.tractor()), verdict=outcome)  # type: ignore[arg-type]
    told = answer_sentence(verdict, states)  # type: ignore[arg-type]
    assert told.startswith(said)
    assert "safe" not in told
