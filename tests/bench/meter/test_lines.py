"""Line-printing meters: conversations, with every pair consumed."""

from __future__ import annotations

import math
import time

import pytest

from loomtest.bench.meter.lines import LineMeter
from loomtest.bench.meter.pattern import LinePattern
from loomtest.bench.meter.protocol import LONGEST_LINE, Event, Shown, Trouble, last_digit, scale_of
from loomtest.bench.meter.settings import SerialSettings, read_settings
from loomtest.errors import InputError
from loomtest.readings.model import Range

HANDHELD = (Range(200.0, 0.8, 3, 0.1), Range(2e3, 0.8, 1, 1.0), Range(2e4, 0.8, 1, 10.0))


def shown(events: list[Event]) -> list[float]:
    return [event.value for event in events if isinstance(event, Shown)]


def synced(ranges: tuple[Range, ...] = (), autorange: bool = True) -> LineMeter:
    meter = LineMeter(SerialSettings(), ranges, autorange)
    assert meter.feed(b"2.34 ohm\r\n") == []  # what may be the tail of 12.34 is never a reading
    return meter


@pytest.mark.parametrize(
    ("line", "value", "function", "step"),
    [
        (b"0.42 ohm", 0.42, "ohm", 0.01),
        (b"+00.42 Ohm", 0.42, "ohm", 0.01),
        (b"1.234 kOhm", 1234.0, "ohm", 1.0),
        (b"12.3 mOhm", 0.0123, "ohm", 1e-4),
        (b"12.3 MOhm", 12.3e6, "ohm", 1e5),
        ("0.5 kΩ".encode(), 500.0, "ohm", 100.0),
        ("0.5 Ω".encode(), 0.5, "ohm", 0.1),  # the ohm sign, not the Greek letter
        (b"0,42", 0.42, "ohm", 0.01),
        (b"-0.02", -0.02, "ohm", 0.01),
        (b"4.2E-01", 0.42, "ohm", 0.01),
        (b"613.5 mV DC", 0.6135, "volt", 1e-4),
        (b"0.L MOhm", math.inf, "ohm", math.nan),
        (b"OL", math.inf, "ohm", math.nan),
        (b" O.L  ", math.inf, "ohm", math.nan),
    ],
)
def test_a_line_is_read_with_its_unit_and_last_digit(
    line: bytes, value: float, function: str, step: float
) -> None:
    (event,) = synced().feed(line + b"\r\n")
    assert isinstance(event, Shown)
    assert event.value == pytest.approx(value)
    assert event.function == function
    assert event.step == pytest.approx(step, nan_ok=True)


def test_any_cut_of_the_stream_gives_the_same_readings() -> None:
    stream = b"garb\r\n0.42\r\n17.5\r\nOL\r\n\x00\x000.43\x00\r\n"
    whole = shown(LineMeter(SerialSettings()).feed(stream))
    assert whole == [0.42, 17.5, math.inf, 0.43]
    for cut in range(len(stream)):
        meter = LineMeter(SerialSettings())
        assert shown(meter.feed(stream[:cut]) + meter.feed(stream[cut:])) == whole


@pytest.mark.parametrize("ends", ["\n", "\r", "\r\n", ";"])
def test_every_terminator(ends: str) -> None:
    meter = synced_with(ends)
    assert shown(meter.feed(f"0.42{ends}1.5{ends}".encode())) == [0.42, 1.5]


def synced_with(ends: str) -> LineMeter:
    meter = LineMeter(SerialSettings(terminator=ends))
    meter.feed(f"x{ends}".encode())
    return meter


def test_half_a_line_before_an_unplug_never_joins_what_comes_after() -> None:
    meter = synced()
    assert shown(meter.feed(b"0.42\r\n1")) == [0.42]
    meter.restart()
    assert shown(meter.feed(b"7.5\r\n0.44\r\n")) == [0.44]


def test_a_wrong_rate_is_recognised_with_advice_once() -> None:
    meter = LineMeter(SerialSettings())
    noise = bytes((37 * n * n + 129) % 256 for n in range(4 * LONGEST_LINE))
    events = [event for n in range(0, len(noise), 16) for event in meter.feed(noise[n : n + 16])]
    assert [e.kind for e in events if isinstance(e, Trouble)] == ["wrong-rate"]
    assert "9600 baud" in str(events)


def test_readable_lines_of_another_form_are_quoted() -> None:
    meter = synced()
    events = [e for _ in range(6) for e in meter.feed(b"reading=0.42;ok\r\n")]
    assert [e.kind for e in events if isinstance(e, Trouble)] == ["unreadable"]
    assert "reading=0.42;ok" in str(events)


def test_one_bad_line_among_good_ones_is_dropped_without_a_word() -> None:
    assert synced().feed(b"0.4\xf2 oh\r\n") == []


def test_another_function_is_told_and_never_a_resistance() -> None:
    meter = synced()
    (amps,) = meter.feed(b"0.42 mA\r\n")
    assert isinstance(amps, Trouble) and amps.kind == "other-function"
    (volts,) = meter.feed(b"0.42 V\r\n")
    assert isinstance(volts, Shown) and volts.function == "volt"


def test_a_fixed_range_goes_with_its_over_range() -> None:
    meter = synced(ranges=HANDHELD, autorange=False)
    (unknown,) = meter.feed(b"OL\r\n")
    assert isinstance(unknown, Shown) and unknown.range_ohm is None
    meter.feed(b"1.234 kOhm\r\n")
    (known,) = meter.feed(b"OL\r\n")
    assert isinstance(known, Shown) and known.range_ohm == 2e3


def test_autorange_makes_no_claim_about_the_range() -> None:
    meter = synced(ranges=HANDHELD, autorange=True)
    meter.feed(b"1.234 kOhm\r\n")
    (event,) = meter.feed(b"OL\r\n")
    assert isinstance(event, Shown) and event.range_ohm is None


def test_a_polled_conversation_consumes_every_pair() -> None:
    meter = LineMeter(SerialSettings(poll="X\r", poll_every_s=0.2))
    pairs = [(b"X\r", b"0.42\r\n"), (b"X\r", b"X\r0.43\r\n"), (b"X\r", b"X0.44\r\n"), (b"X\r", b"OL\r\n")]
    got, now_s = [], 0.0
    for sent, answered in pairs:
        assert meter.due(now_s) == sent
        assert meter.due(now_s + 0.1) == b""  # one question at a time
        got += shown(meter.feed(answered))
        assert meter.due(now_s + 0.1) == b""  # not before its time
        now_s += 0.2
    assert got == [0.42, 0.43, 0.44, math.inf]


def test_an_echo_alone_is_no_answer() -> None:
    meter = LineMeter(SerialSettings(poll="X\r", poll_every_s=0.2, answer_within_s=3.0))
    assert meter.due(0.0) == b"X\r"
    assert meter.feed(b"X\r") == []
    assert meter.due(1.0) == b""  # the answer is still to come


def test_a_question_that_got_no_answer_is_asked_again() -> None:
    meter = LineMeter(SerialSettings(poll="X\r", answer_within_s=3.0))
    assert meter.due(0.0) == b"X\r"
    assert meter.due(2.9) == b""
    assert meter.due(3.0) == b"X\r"


def test_units_keep_milli_and_mega_apart() -> None:
    assert scale_of("mOhm") == ("ohm", 1e-3)
    assert scale_of("MOHM") == ("ohm", 1e6)
    assert scale_of("mV") == ("volt", 1e-3)
    assert scale_of("uF")[0] == "other"
    assert last_digit("1.20E+3") == pytest.approx(10.0)


def test_settings_report_every_mistake_at_once() -> None:
    with pytest.raises(InputError) as caught:
        read_settings('[serial]\nbuad = 9600\nparity = "mark"\nbits = "8"\npoll_every_s = 0\n', "m.toml")
    text = str(caught.value)
    assert len(caught.value.problems) == 4
    assert "serial.buad" in text and "baud" in text and "none or even or odd" in text


@pytest.mark.parametrize("pattern", ["(", "no group at all"])
def test_a_pattern_that_cannot_read_a_value_is_refused(pattern: str) -> None:
    with pytest.raises(InputError, match=r"serial\.pattern"):
        read_settings(f"[serial]\npattern = '{pattern}'\n", "m.toml")


def test_no_serial_table_is_no_settings() -> None:
    assert read_settings('name = "meter"\n', "m.toml") is None


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<value>(?:\d+)+)",
        r"(?P<value>(?:\d+\s?)+)x",
        r"(a*)*(?P<value>b)",
        r"(?P<value>(?:Q+Q)+)",
        r"(?P<value>(.+)+\2)x",
    ],
)
def test_no_pattern_of_a_file_hangs_over_any_line(pattern: str) -> None:
    """`(?:\\d+)+` over sixty digits and a letter takes Python's own engine longer than anybody lives."""
    read_settings(f"[serial]\npattern = '{pattern}'\n", "m.toml")
    match = LinePattern(pattern).match
    began = time.monotonic()
    for line in ("1" * 60 + "!", "1 " * 60 + "!", "a" * 60 + "!", "Q" * 60 + "!"):
        assert match(line) is None
    assert time.monotonic() - began < 2.0
    assert LinePattern(r"(?P<value>\d+)(?P<unit>k)?").match("470") == {"value": "470"}


@pytest.mark.parametrize("range_", ["0", "-5", "nan", "inf", "1e200", "5e-324.", ""])
def test_a_range_that_cannot_be_is_none(range_: str) -> None:
    pattern = r"(?P<overload>OL)(?P<range>\S*)|(?P<value>\d+)"
    meter = LineMeter(SerialSettings(pattern=pattern))
    meter.feed(b"1\r\n")
    (event,) = meter.feed(f"OL{range_}\r\n".encode())
    assert isinstance(event, Shown) and event.range_ohm is None
    (event,) = meter.feed(b"OL2e6\r\n")
    assert isinstance(event, Shown) and event.range_ohm == 2e6
