"""From an instrument file to a meter: every generic instrument talks as its own table says."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest

from loomtest.bench.connect import connect, settings_of
from loomtest.bench.meter.port import meter_for
from loomtest.bench.meter.protocol import Shown
from loomtest.errors import InputError, InstrumentError
from loomtest.readings.instrument import instrument_names, load_instrument

TALKS = {
    "handheld-3half": [(b"", b"x\r\n0.4 ohm\r\nOL\r\n")],
    "handheld-4half": [(b"", b"x\r\n0.40 ohm\r\nOL\r\n")],
    "handheld-picofarads": [(b"", b"x\r\n0.40 ohm\r\nOL\r\n")],
    "milliohm-meter": [(b"", b"x\r\n400.0 mohm\r\nOVER\r\n")],
    "bench-four-wire": [
        (b"*CLS;*IDN?\n", b"NO MAKER,M,0,1\n"),
        (b"CONF:FRES\nSYST:ERR?\n", b'0,"No error"\n'),
        (b"FRES:RANG:AUTO?\n", b"1\n"),
        (b"FUNC?\n", b'"FRES"\n'),
        (b"READ?\n", b"4.0E-01\n"),
        (b"READ?\n", b"9.9E37\n"),
    ],
}


@pytest.mark.parametrize("name", instrument_names())
def test_every_generic_instrument_holds_its_conversation(name: str) -> None:
    instrument = load_instrument(name)
    meter = meter_for(settings_of(instrument), instrument)
    values = []
    for turn, (sent, answered) in enumerate(TALKS[name]):
        assert meter.due(float(turn)) == sent
        values += [event.value for event in meter.feed(answered) if isinstance(event, Shown)]
    assert values == pytest.approx([0.4, math.inf])


def test_a_port_that_is_not_there_is_named() -> None:
    with pytest.raises(InstrumentError, match=r"/dev/no-such-port cannot be opened"):
        connect("/dev/no-such-port", None, None)


def test_a_rehearsal_without_its_file_is_named() -> None:
    with pytest.raises(InputError, match="no such file"):
        connect("rehearse:nowhere", None, None)


def test_every_bad_line_of_a_script_is_named(tmp_path: Path) -> None:
    script = tmp_path / "talk.txt"
    script.write_text("meter says 0.4\nmeter sings\nwait long\n", "utf-8")
    with pytest.raises(InputError) as caught:
        connect(f"rehearse:{script}", None, None)
    assert [problem.line for problem in caught.value.problems] == [2, 3]


def test_loop_is_a_port_like_any_other() -> None:
    link, _ = connect("loop://", None, None)
    assert link.port is not None
    link.port.write(b"half\r\n0.42 ohm\r\n")
    values: list[float] = []
    until_s = time.monotonic() + 5.0
    while not values and time.monotonic() < until_s:
        values = [event.value for _, event in link.poll(time.monotonic()) if isinstance(event, Shown)]
    assert values == [0.42]
    link.close()
