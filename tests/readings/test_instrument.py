"""Instrument files: figures kept, mistakes named with the nearest known key."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomtest.errors import InputError
from loomtest.readings.generic import generic_handheld
from loomtest.readings.instrument import instrument_names, load_instrument
from loomtest.readings.model import Range
from loomtest.readings.runfile import instrument_text

EXAMPLE = """# the example of the format
name = "handheld meter, 3 1/2 digits"
method = "two-wire"
autorange = false
lead_ohms = 0.0
lead_uncertainty_ohms = 0.03
touch_ohms = 0.02
open_above_ohms = 4.0e7
beep_below_ohms = 50.0

[[range]]
up_to_ohms = 2000.0
percent = 0.8
counts = 3
resolution_ohms = 1

[[range]]
up_to_ohms = 200.0
percent = 0.8
counts = 3
resolution_ohms = 0.1

[serial]
anything = "belongs to the bench"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "instrument.toml"
    path.write_text(text, "utf-8")
    return path


def test_the_example_of_the_format_is_read_whole(tmp_path: Path) -> None:
    meter = load_instrument(written(tmp_path, EXAMPLE))
    assert (meter.name, meter.method, meter.autorange) == ("handheld meter, 3 1/2 digits", "two-wire", False)
    assert (meter.lead_ohms, meter.lead_uncertainty_ohms, meter.touch_ohms) == (0.0, 0.03, 0.02)
    assert (meter.open_above_ohms, meter.beep_below_ohms) == (4e7, 50.0)
    assert meter.ranges == (Range(200.0, 0.8, 3.0, 0.1), Range(2000.0, 0.8, 3.0, 1.0))  # ascending
    assert not meter.assumed


def test_leads_left_out_are_unknown_for_two_wires_and_nothing_for_four(tmp_path: Path) -> None:
    ranges = "[[range]]\nup_to_ohms = 2\npercent = 1\ncounts = 1\nresolution_ohms = 0.1\n"
    assert load_instrument(written(tmp_path, ranges)).lead_ohms is None
    four = load_instrument(written(tmp_path, 'method = "four-wire"\n' + ranges))
    assert (four.lead_ohms, four.lead_uncertainty_ohms, four.touch_ohms) == (0.0, 0.0, 0.0)


def test_every_mistake_is_reported_at_once(tmp_path: Path) -> None:
    text = EXAMPLE.replace("touch_ohms", "tuch_ohms").replace("autorange = false", "autorange = 0")
    text = text.replace('"two-wire"', '"three-wire"').replace("percent = 0.8", "percent = -1", 1)
    text = text.replace("resolution_ohms = 0.1", "resolution_ohms = 0").replace("counts = 3\n", "", 1)
    with pytest.raises(InputError) as error:
        load_instrument(written(tmp_path, text))
    found = {(p.column, p.line) for p in error.value.problems}
    assert {"tuch_ohms", "autorange", "method", "percent", "resolution_ohms", "counts"} == {
        c for c, _ in found
    }
    assert ("tuch_ohms", 7) in found
    assert ("resolution_ohms", 20) in found
    advice = next(p.expected for p in error.value.problems if p.column == "tuch_ohms")
    assert "touch_ohms" in advice


@pytest.mark.parametrize(
    "text",
    ["", "name = 'x'\n", "name = \n", "range = 3\n", "range = []\n", "range = [1]\n", "a = 1\na = 2\n"],
)
def test_a_file_without_ranges_or_that_is_no_toml_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        load_instrument(written(tmp_path, text))


def test_no_finite_number_is_no_number(tmp_path: Path) -> None:
    for word in ("nan", "inf", "true", '"0.1"'):
        with pytest.raises(InputError):
            load_instrument(written(tmp_path, EXAMPLE.replace("touch_ohms = 0.02", f"touch_ohms = {word}")))


def test_a_name_that_is_none_lists_those_that_are() -> None:
    with pytest.raises(InputError, match="handheld-3half"):
        load_instrument("handheld-3.5")


def test_the_shipped_instruments_load_and_say_what_they_are() -> None:
    assert set(instrument_names()) == {
        "bench-four-wire",
        "handheld-3half",
        "handheld-4half",
        "handheld-picofarads",
        "milliohm-meter",
    }
    for name in instrument_names():
        meter = load_instrument(name)
        assert meter.ranges
        assert (meter.method == "four-wire") == ("four-wire" in meter.name)
        for one in meter.ranges:  # digits: a range is a whole number of its steps
            steps = one.up_to_ohms / one.resolution_ohms
            assert steps == pytest.approx(round(steps))


def test_the_assumed_meter_is_a_handheld_with_unknown_leads() -> None:
    meter = generic_handheld()
    assert meter.assumed
    assert meter.lead_ohms is None
    assert meter.ranges[0].up_to_ohms / meter.ranges[0].resolution_ohms == pytest.approx(2000)  # 3 1/2 digits
    same = replace(
        load_instrument("handheld-3half"), assumed=True, voltage_ranges=()
    )  # volts: nobody said so
    assert generic_handheld() == same


def test_a_specification_written_out_reads_back_the_same(tmp_path: Path) -> None:
    for name in instrument_names():
        meter = load_instrument(name)
        assert load_instrument(written(tmp_path, instrument_text(meter))) == meter


CAPACITANCE = """
[[capacitance_range]]
up_to_farads = 2e-9
percent = 1.0
counts = 5
resolution_farads = 1e-12
"""
VOLTS = CAPACITANCE.replace("capacitance", "voltage").replace("farads = 2e-9", "volts = 0.2")
VOLTS = VOLTS.replace("farads = 1e-12", "volts = 1e-4")


def test_voltage_ranges_read_back_beside_the_others(tmp_path: Path) -> None:
    file, again = tmp_path / "meter.toml", tmp_path / "again.toml"
    file.write_text(EXAMPLE + CAPACITANCE + VOLTS)
    meter = load_instrument(file)
    assert [(r.up_to_volts, r.percent, r.counts, r.resolution_volts) for r in meter.voltage_ranges] == [
        (0.2, 1.0, 5, 1e-4)
    ]
    again.write_text(instrument_text(meter))
    assert load_instrument(again) == meter


def test_capacitance_ranges_stand_beside_those_of_ohms(tmp_path: Path) -> None:
    file = tmp_path / "meter.toml"
    file.write_text("lead_farads = 4e-12\n" + EXAMPLE + CAPACITANCE)
    meter = load_instrument(file)
    assert meter.lead_farads == 4e-12
    assert [(r.up_to_farads, r.percent, r.counts, r.resolution_farads) for r in meter.capacitance_ranges] == [
        (2e-9, 1.0, 5, 1e-12)
    ]
    assert len(meter.ranges) == 2
    again = tmp_path / "again.toml"
    again.write_text(instrument_text(meter))
    assert load_instrument(again) == replace(meter, source=str(again), text=again.read_text())


def test_a_mistake_in_a_capacitance_range_has_its_line(tmp_path: Path) -> None:
    file = tmp_path / "meter.toml"
    file.write_text(EXAMPLE + CAPACITANCE.replace("percent = 1.0", "percent = -1.0"))
    with pytest.raises(InputError) as caught:
        load_instrument(file)
    (problem,) = caught.value.problems
    line = file.read_text().splitlines().index("percent = -1.0") + 1
    assert (problem.line, problem.column) == (line, "percent")
