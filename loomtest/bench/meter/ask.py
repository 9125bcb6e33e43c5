"""What answers on a port: listens, then asks who is there, at the usual speeds."""

from __future__ import annotations

import time

from loomtest.bench.meter.lines import LineMeter
from loomtest.bench.meter.port import SerialPort
from loomtest.bench.meter.protocol import Shown
from loomtest.bench.meter.settings import SerialSettings
from loomtest.errors import InstrumentError

SPEEDS = (9600, 115200, 19200, 2400)
LISTEN_S = 0.8


def who_answers(address: str, speeds: tuple[int, ...] = SPEEDS, listen_s: float = LISTEN_S) -> str:
    """One sentence: a SCPI identity, a meter that prints lines, or nothing. Never raises for a bad port."""
    heard = 0
    for baud in speeds:
        settings = SerialSettings(baud=baud)
        try:
            port = SerialPort(address, settings)
        except InstrumentError as error:
            return str(error).split("; the ports here")[0].split("; no serial port")[0]
        try:
            said = _listen(port, b"", listen_s)
            if _prints_readings(said, settings):
                line = said.split(b"\n")[1].strip().decode("ascii", "replace")
                return f"a meter that prints its readings at {baud} baud: {line!r}"
            said = _listen(port, b"*IDN?\n", listen_s)
            text = said.decode("ascii", "replace").replace("*IDN?", "").strip()
            if text.isprintable() and text.count(",") == 3:
                return f"SCPI at {baud} baud: {text}"
            heard += len(said)
        except OSError as error:
            return f"gone while it was asked ({error})"
        finally:
            port.close()
    if heard:
        return "something answers, but nothing that can be read at the usual speeds"
    return "no answer"


def _listen(port: SerialPort, first: bytes, seconds: float) -> bytes:
    if first:
        port.write(first)
    until, said = time.monotonic() + seconds, b""
    while time.monotonic() < until:
        said += port.read()
        if first and said.rstrip(b"\r").endswith(b"\n") and said.count(b",") >= 3:
            break
        time.sleep(0.02)
    return said


def _prints_readings(said: bytes, settings: SerialSettings) -> bool:
    events = LineMeter(settings).feed(said)
    return len(events) >= 2 and all(isinstance(event, Shown) for event in events)
