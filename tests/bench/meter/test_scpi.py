"""SCPI meters: conversations, with every pair consumed. Codes and forms from SCPI-99 and IEEE 488.2."""

from __future__ import annotations

import math

import pytest

from loomtest.bench.meter.protocol import Event, Shown, Trouble
from loomtest.bench.meter.scpi import ScpiMeter
from loomtest.bench.meter.settings import SerialSettings

IDN = ("*CLS;*IDN?\n", "NO MAKER,BENCH 4W,0,1.0\n")
OK = '0,"No error"\n'


def converse(meter: ScpiMeter, pairs: list[tuple[str, str]]) -> list[Event]:
    """Play the pairs; each must be asked in turn."""
    events: list[Event] = []
    for index, (sent, answered) in enumerate(pairs):
        assert meter.due(float(index)) == sent.encode(), f"pair {index}"
        events += meter.feed(answered.encode())
    return events


def scpi(function: str = "resistance") -> ScpiMeter:
    return ScpiMeter(SerialSettings(protocol="scpi", terminator="\n", function=function))


def opening(configure: str, short: str, auto: str = "1\n", range_ohm: str = "") -> list[tuple[str, str]]:
    pairs = [IDN, (f"{configure}\nSYST:ERR?\n", OK), (f"{short}:RANG:AUTO?\n", auto)]
    if range_ohm:
        pairs.append((f"{short}:RANG?\n", range_ohm))
    return [*pairs, ("FUNC?\n", f'"{short}"\n')]


@pytest.mark.parametrize(
    ("function", "configure", "short"),
    [("resistance", "CONF:RES", "RES"), ("resistance_4w", "CONF:FRES", "FRES")],
)
def test_a_resistance_conversation(function: str, configure: str, short: str) -> None:
    meter = scpi(function)
    reads = [
        ("READ?\n", "+4.20000000E-01\n"),
        ("READ?\n", "12\n"),
        ("READ?\n", "-0.02\n"),
        ("READ?\n", "+9.90000000E+37\n"),
    ]
    events = converse(meter, [*opening(configure, short), *reads])
    assert [e.value for e in events if isinstance(e, Shown)] == [0.42, 12.0, -0.02, math.inf]
    assert meter.identity == "NO MAKER,BENCH 4W,0,1.0"


@pytest.mark.parametrize(
    ("function", "configure", "short"), [("voltage", "CONF:VOLT:DC", "VOLT"), ("diode", "CONF:DIOD", "DIOD")]
)
def test_volts_come_as_volts(function: str, configure: str, short: str) -> None:
    pairs = [IDN, (f"{configure}\nSYST:ERR?\n", OK), ("FUNC?\n", f'"{short}"\n'), ("READ?\n", "0.6\n")]
    (event,) = converse(scpi(function), pairs)
    assert isinstance(event, Shown) and event.function == "volt"


def test_not_a_number_and_negative_infinity_are_no_readings() -> None:
    reads = [("READ?\n", "9.91E37\n"), ("READ?\n", "-9.9E37\n")]
    events = converse(scpi(), [*opening("CONF:RES", "RES"), *reads])
    assert [e.kind for e in events if isinstance(e, Trouble)] == ["no-value", "no-value"]
    assert not any(isinstance(e, Shown) for e in events)


def test_over_range_on_a_fixed_range_carries_the_range() -> None:
    pairs = opening("CONF:RES", "RES", auto="0\n", range_ohm="2.0E+06\n")
    (event,) = converse(scpi(), [*pairs, ("READ?\n", "9.9E37\n")])
    assert isinstance(event, Shown) and event.range_ohm == 2e6


def test_the_error_queue_is_emptied_and_told() -> None:
    pairs = [
        IDN,
        ("CONF:RES\nSYST:ERR?\n", '-113,"Undefined header"\n'),
        ("SYST:ERR?\n", '-222,"Data out of range"\n'),
        ("SYST:ERR?\n", OK),
        ("RES:RANG:AUTO?\n", "1\n"),
    ]
    events = converse(scpi(), pairs)
    assert [e.kind for e in events if isinstance(e, Trouble)] == ["instrument-error"] * 2
    assert "-113" in str(events[0])


def test_a_meter_turned_to_volts_is_set_back_and_its_volts_are_no_ohms() -> None:
    meter = scpi()
    converse(meter, [*opening("CONF:RES", "RES"), ("READ?\n", "0.42\n")])
    assert meter.due(60.0) == b"FUNC?\n"
    (event,) = meter.feed(b'"VOLT:DC"\n')
    assert isinstance(event, Trouble) and event.kind == "other-function"
    assert meter.due(61.0) == b"CONF:RES\nSYST:ERR?\n"


def test_an_echoing_adapter_changes_nothing() -> None:
    plain = [*opening("CONF:RES", "RES"), ("READ?\n", "0.42\n")]
    echoed = [(sent, sent + answered) for sent, answered in plain]
    assert converse(scpi(), echoed) == converse(scpi(), plain) != []


def test_a_late_answer_after_a_replug_is_not_an_identity() -> None:
    meter = scpi()
    converse(meter, [*opening("CONF:RES", "RES"), ("READ?\n", "0.42\n")])
    meter.due(8.0)
    meter.restart()
    assert meter.due(9.0) == IDN[0].encode()
    assert meter.feed(b"17.5\n") == []
    assert meter.feed(IDN[1].encode()) == []
    assert meter.identity


def test_an_unsolicited_line_is_no_reading() -> None:
    meter = scpi()
    converse(meter, [*opening("CONF:RES", "RES"), ("READ?\n", "0.42\n")])
    assert meter.feed(b"17.5\n") == []


def test_a_slow_meter_is_waited_for_and_then_asked_again() -> None:
    meter = scpi()
    assert meter.due(0.0) == IDN[0].encode()
    assert meter.due(2.9) == b""
    assert meter.due(3.0) == IDN[0].encode()


def test_a_meter_that_knows_no_range_question_still_reads() -> None:
    meter = scpi()
    converse(meter, opening("CONF:RES", "RES")[:2])
    assert meter.due(2.0) == b"RES:RANG:AUTO?\n"
    assert meter.due(5.0) == b"FUNC?\n"
    assert meter.due(8.0) == b"READ?\n"
    (event,) = meter.feed(b"0.42\n")
    assert isinstance(event, Shown) and event.value == 0.42


def test_garbage_instead_of_an_answer_is_told_once() -> None:
    meter = scpi()
    meter.due(0.0)
    events = [e for _ in range(8) for e in meter.feed(b"\xf8\x86\xe6\x1e\xfe\x80\x98\n")]
    assert [e.kind for e in events if isinstance(e, Trouble)] == ["wrong-rate"]
