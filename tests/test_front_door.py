"""`import loomtest`: what a person at a Python prompt or in a notebook meets first."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest

import loomtest
from loomtest import errors
from loomtest.commands import app
from loomtest.diagnosis.judge import judge as diagnosed

SAMPLES = Path(__file__).parents[1] / "sample_runs"


@pytest.fixture
def harness() -> loomtest.Harness:
    return loomtest.load_harness(SAMPLES / "orchard_tractor")


@pytest.fixture
def readings(harness: loomtest.Harness) -> loomtest.Readings:
    return loomtest.load_readings(SAMPLES / "orchard_tractor" / "1_before", harness)


def test_the_tab_key_shows_the_public_names_and_nothing_else() -> None:
    assert app is not None  # with everything imported, too
    assert dir(loomtest) == sorted(loomtest.__all__)
    assert {"judge", "load_harness", "load_readings", "plan", "compare", "frame"} < set(dir(loomtest))
    for name in loomtest.__all__:
        thing = getattr(loomtest, name)
        assert name == "__version__" or inspect.getdoc(thing), name


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'judgement'"):
        loomtest.judgement  # noqa: B018


def test_the_version_is_the_installed_one() -> None:
    assert loomtest.__version__ == version("loomtest")


def test_every_error_is_reachable_and_caught_by_its_root() -> None:
    raised = [
        thing for thing in vars(errors).values() if inspect.isclass(thing) and issubclass(thing, Exception)
    ]
    assert len(raised) > 4
    for error in raised:
        assert getattr(loomtest, error.__name__) is error
    with pytest.raises(loomtest.LoomtestError):
        loomtest.load_harness("no such folder")


def test_what_the_public_functions_return_is_a_public_type(
    harness: loomtest.Harness, readings: loomtest.Readings
) -> None:
    assert type(harness) is loomtest.Harness and type(readings) is loomtest.Readings
    verdict = loomtest.judge(harness, readings)
    assert isinstance(verdict, loomtest.Verdict)
    assert isinstance(loomtest.plan(harness), loomtest.Plan)
    assert isinstance(loomtest.compare(harness, readings, readings), loomtest.Change)
    for record in (verdict, harness, readings):  # and so is everything that stands in one
        for value in vars(record).values():
            first = value[0] if isinstance(value, tuple) and value else value
            if type(first).__module__.startswith("loomtest.") and not isinstance(first, Mapping):
                assert getattr(loomtest, type(first).__name__) is type(first)


def test_readings_are_compared_by_content(harness: loomtest.Harness, readings: loomtest.Readings) -> None:
    again = loomtest.load_readings(SAMPLES / "orchard_tractor" / "1_before", harness)
    assert again == readings
    other = readings.value.copy()
    other[3] += 0.01
    assert replace(readings, value=other) != readings
    assert readings != "readings"
    assert np.isnan(readings.uncertainty).any()  # and NaN was no obstacle


def test_readings_make_a_frame(readings: loomtest.Readings) -> None:
    rows = loomtest.frame(readings)
    assert len(rows) == len(readings)
    assert list(rows.columns)[:4] == ["from", "to", "quantity", "value"]
    at = int(np.argmax(np.isinf(readings.value)))
    assert np.isinf(rows.value[at])
    assert rows["from"][at] == readings.points[readings.start[at]]
    assert set(rows.quantity) <= {quantity.name.lower() for quantity in loomtest.Quantity}
    with pytest.raises(ValueError, match="expected readings"):
        loomtest.frame(readings, "wires")


def test_a_verdict_says_itself(harness: loomtest.Harness, readings: loomtest.Readings) -> None:
    verdict = loomtest.judge(harness, readings)
    assert len(repr(verdict)) < 160 and "\n" not in repr(verdict)
    assert harness.name in repr(verdict) and "4 faults" in repr(verdict)
    printed = str(verdict).splitlines()
    assert printed[0] == harness.name and max(map(len, printed)) <= 80
    assert printed[-1].endswith("safe.")
    html = verdict._repr_html_()
    assert html.count("<tr>") == 1 + len(verdict.findings)
    odd = replace(verdict, harness="<b>")
    assert "<b><b>" not in odd._repr_html_() and "&lt;b&gt;" in odd._repr_html_()
    assert verdict.to_json().keys() == diagnosed(harness, readings).to_json().keys()
    assert loomtest.judge(harness, readings) == verdict
