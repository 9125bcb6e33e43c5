"""Every spelling of a value in the contract, and what must never pass for one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.readings.model import Quantity
from loomtest.readings.values import ValueSyntaxError, bare_number, parse_unit, parse_value


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("0.42", 0.42),
        ("0.42 ohm", 0.42),
        ("420 mΩ", 0.42),
        ("420m", 0.42),
        ("1.2k", 1200.0),
        ("1.2 K", 1200.0),
        ("1k2", 1200.0),
        ("4R7", 4.7),
        ("R47", 0.47),
        ("47R", 47.0),
        ("2M2", 2.2e6),
        ("0,42", 0.42),
        ("-0.03", -0.03),
        ("\u22120.03", -0.03),  # a minus sign of typesetting
        ("2\u2126", 2.0),  # the ohm sign
        ("2\u03a9", 2.0),  # the Greek letter
        ("500 \u00b5\u2126", 5e-4),  # the micro sign
        ("500 \u03bc\u03a9", 5e-4),  # the Greek letter
        ("5\u00a0Ω", 5.0),
        ("3 meg", 3e6),
        ("2 megohm", 2e6),
        ("2 MOHM", 2e6),
        ("2 Mohm", 2e6),
        ("2 mohm", 2e-3),
        ("2 milliohm", 2e-3),
        ("2 kilohms", 2e3),
        ("1e3", 1e3),
        ("+1.20000000E-01", 0.12),
        (".5", 0.5),
        ("5.", 5.0),
        (" 7 ", 7.0),
    ],
)
def test_a_number_in_any_spelling_is_ohms(text: str, ohms: float) -> None:
    assert parse_value(text).number == pytest.approx(ohms, rel=1e-12)


def test_small_and_capital_m_are_a_thousand_million_apart() -> None:
    assert parse_value("2M").number / parse_value("2m").number == pytest.approx(1e9)


@pytest.mark.parametrize(
    "text",
    [
        "OL",
        "ol",
        "O.L",
        "0L",
        "0.L",
        ".OL",
        "OL MΩ",
        "0L.kΩ",
        "OLM",
        "open",
        "OPEN",
        "inf",
        "Infinity",
        "∞",
        "over range",
        "overload",
        "9.9E37",
        "+9.90000000E+37",
        "1e38",
    ],
)
def test_over_range_in_all_its_forms(text: str) -> None:
    value = parse_value(text)
    assert math.isinf(value.number)
    assert math.isnan(value.above_ohm)


@pytest.mark.parametrize(
    ("text", "above"), [(">40M", 40e6), ("> 40 MΩ", 40e6), (">=2M", 2e6), ("≥2M", 2e6), (">500", 500.0)]
)
def test_more_than_states_its_limit(text: str, above: float) -> None:
    value = parse_value(text)
    assert (value.number, value.above_ohm) == (math.inf, above)


def test_the_unit_of_a_bare_value_scales_it_and_no_other() -> None:
    assert parse_value("420", unit="milliohm").number == pytest.approx(0.42)
    assert parse_value("0.42 ohm", unit="milliohm").number == 0.42
    assert parse_value(">40", unit="megohm").above_ohm == 40e6
    assert math.isinf(parse_value("9.9E37", unit="milliohm").number)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "  ",
        "nan",
        "NaN",
        "9.91E37",
        "-9.9E37",
        "-5",
        "1e20",
        "abc",
        "1 2",
        "yes",
        "--",
        "-OL",
        "1,234",
        "1.234,5",
        "1,2,3",
        "0x10",
        "1e",
        ">",
        ">0",
        "<0.1",
        "5V",
        "5 A",
        "O.42",
        "1_000",
        "٣",
        "OHM",
        "M",
        "Ω",
    ],
)
def test_what_is_no_resistance_is_refused(text: str) -> None:
    with pytest.raises(ValueSyntaxError):
        parse_value(text)


def test_an_ambiguous_comma_is_read_only_where_the_file_writes_decimal_commas() -> None:
    with pytest.raises(ValueSyntaxError, match=r"1\.234 or 1234"):
        parse_value("1,234")
    assert parse_value("1,234", comma_is_decimal=True).number == 1.234
    assert parse_value("0,234").number == 0.234  # no thousands begin with a zero
    assert parse_value("0,42").comma
    assert not parse_value("0.42").comma


def test_continuity_is_yes_or_no() -> None:
    def answer(text: str) -> float:
        return parse_value(text, Quantity.CONTINUITY).number

    assert [answer(t) for t in ("yes", "Yes", "y", "no", "NO", "OL")] == [1.0, 1.0, 1.0, 0.0, 0.0, 0.0]
    with pytest.raises(ValueSyntaxError):
        answer("0.4")


def test_volts_where_volts_belong() -> None:
    assert parse_value("30", Quantity.VOLTAGE_DROP, "mV").number == pytest.approx(0.03)
    assert parse_value("30m", Quantity.VOLTAGE_DROP).number == pytest.approx(0.03)
    assert parse_value("0.55 V", Quantity.DIODE).number == 0.55
    assert math.isinf(parse_value("OL", Quantity.DIODE).number)
    assert parse_value("-0.3", Quantity.VOLTAGE_DROP).number == -0.3
    for text, quantity in [
        ("5 ohm", Quantity.VOLTAGE_DROP),
        ("OL", Quantity.VOLTAGE_DROP),
        (">3", Quantity.VOLTAGE_DROP),
        ("-0.6", Quantity.DIODE),
        ("4R7", Quantity.DIODE),
    ]:
        with pytest.raises(ValueSyntaxError):
            parse_value(text, quantity)
    with pytest.raises(ValueSyntaxError):
        parse_value("5", Quantity.RESISTANCE, "mV")


def test_units_name_their_factor_and_dimension() -> None:
    assert parse_unit("milliohm") == (1e-3, "ohm")
    assert parse_unit("MΩ") == (1e6, "ohm")
    assert parse_unit("mV") == (1e-3, "volt")
    assert parse_unit("k") == (1e3, "")
    for text in ("", "amps", "ohmm", "xV"):
        with pytest.raises(ValueSyntaxError):
            parse_unit(text)


def test_a_message_shows_control_characters_and_is_cut() -> None:
    with pytest.raises(ValueSyntaxError) as error:
        parse_value("\x1b[31m" + "9" * 200)
    assert "\x1b" not in error.value.found
    assert len(error.value.found) < 60


@given(st.floats(-0.9, 1e12), st.sampled_from(["{:.6g}", "{:.3e}", "{!r}", "{:.4f}"]))
def test_every_plain_number_comes_back(number: float, form: str) -> None:
    text = form.format(number)
    assert parse_value(text).number == float(text) == bare_number(text)


@given(st.text(max_size=12))
def test_any_text_is_a_value_or_a_plain_refusal(text: str) -> None:
    for quantity in Quantity:
        try:
            value = parse_value(text, quantity)
        except ValueSyntaxError as error:
            assert error.found
            assert error.expected
        else:
            assert not math.isnan(value.number)


@pytest.mark.parametrize(
    ("text", "unit", "farads"),
    [
        ("120 pF", "", 120e-12),
        ("0.12nF", "", 120e-12),
        ("1.5 µF", "", 1.5e-6),
        ("120", "pF", 120e-12),
        ("1,2 nF", "", 1.2e-9),
        ("2e-10", "", 2e-10),
        ("-3 pF", "", -3e-12),  # a zeroed meter
    ],
)
def test_a_capacitance_is_read_in_farads(text: str, unit: str, farads: float) -> None:
    value = parse_value(text, Quantity.CAPACITANCE, unit)
    assert value.number == pytest.approx(farads, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "quantity", "told"),
    [
        ("120 pF", Quantity.RESISTANCE, "ohms"),
        ("120 ohm", Quantity.CAPACITANCE, "farads"),
        ("120", Quantity.CAPACITANCE, "write 120 pF"),
        ("-120 pF", Quantity.CAPACITANCE, "below zero"),
        ("OL", Quantity.CAPACITANCE, "says nothing of a place"),
        (">200 pF", Quantity.CAPACITANCE, "says nothing of a place"),
        ("", Quantity.CAPACITANCE, "120 pF"),
        ("120 pohm", Quantity.RESISTANCE, "a number such as"),
    ],
)
def test_a_capacitance_is_never_taken_for_ohms(text: str, quantity: Quantity, told: str) -> None:
    with pytest.raises(ValueSyntaxError, match=told):
        parse_value(text, quantity)
