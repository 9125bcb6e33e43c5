"""The port: opens any address that pyserial takes, and goes on where it was after the cable was out."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Any, Protocol

from loomtest.bench.meter.lines import LineMeter
from loomtest.bench.meter.protocol import Event, Meter, Shown, Trouble
from loomtest.bench.meter.scpi import ScpiMeter
from loomtest.bench.meter.settings import SerialSettings
from loomtest.errors import InstrumentError
from loomtest.readings.model import Instrument

REOPEN_EVERY_S = 0.5
_WAIT_S = 0.02  # how long the listening thread gathers before it hands on


class Port(Protocol):
    """Bytes in and out without waiting. `read` and `write` raise OSError when the line is gone."""

    def read(self) -> bytes:
        """What has arrived; empty when nothing has."""

    def write(self, data: bytes) -> None:
        """Send."""

    def close(self) -> None:
        """Let go of it."""


class SerialPort:
    """A pyserial port that never blocks. Raises InstrumentError when it cannot be opened.

    A thread of its own empties the system's small buffer (4 KiB is 70 ms of a fast meter), also while the
    program waits for the disk.
    """

    def __init__(self, url: str, settings: SerialSettings) -> None:
        import serial

        parity = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}
        try:
            self._port: Any = serial.serial_for_url(
                url,
                baudrate=settings.baud,
                bytesize=settings.bits,
                parity=parity[settings.parity],
                stopbits=settings.stop_bits,
                timeout=_WAIT_S,
                write_timeout=2.0,
                # Two readers share the bytes between them, and `2.34` may be the rest of `12.34`.
                **({"exclusive": True} if os.name == "posix" and "://" not in url else {}),
            )
            self._port.reset_input_buffer()
        except (serial.SerialException, OSError, ValueError) as error:
            raise InstrumentError(_cannot_open(url, error)) from error
        self._pieces: SimpleQueue[bytes] = SimpleQueue()
        self._gone: OSError | None = None
        self._closing = False
        self._thread = Thread(target=self._listen, name=f"listens to {url}", daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        try:
            while not self._closing:
                if piece := bytes(self._port.read(4096)):
                    self._pieces.put(piece)
        except OSError as error:  # serial.SerialException is one
            self._gone = error
        except TypeError:
            self._gone = OSError("closed")  # pyserial, where a port is closed under a waiting read

    def read(self) -> bytes:
        """What has arrived. Raises OSError once the port is gone and everything that came was read."""
        gone = self._gone
        pieces = []
        with suppress(Empty):
            while True:
                pieces.append(self._pieces.get_nowait())
        if gone is not None and not pieces:
            raise gone
        return b"".join(pieces)

    def write(self, data: bytes) -> None:
        """Send."""
        self._port.write(data)

    def close(self) -> None:
        """Let go of the port, also of one that is gone."""
        self._closing = True
        self._thread.join(1.0)
        with suppress(OSError):  # the device vanished: there is nothing left to close
            self._port.close()


def _cannot_open(url: str, error: Exception) -> str:
    known = [found.device for found in ports_found()]
    there = "the ports here are " + ", ".join(known) if known else "no serial port is plugged in"
    return f"the port {url} cannot be opened ({error}); {there}"


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A port of this computer: its address, what the system calls it, and what tells it from its like."""

    device: str
    description: str
    identity: str


def ports_found() -> list[FoundPort]:
    """The serial ports that are plugged in, by address."""
    from serial.tools import list_ports

    found = []
    for each in list_ports.comports():
        words = each.description if each.description not in (None, "n/a") else ""
        ids = f"{each.vid}:{each.pid}:{each.serial_number}" if each.vid is not None else ""
        found.append(FoundPort(each.device, words, ids))
    return sorted(found, key=lambda port: port.device)


def meter_for(settings: SerialSettings, instrument: Instrument | None) -> Meter:
    """The protocol that the settings name."""
    if settings.protocol == "scpi":
        return ScpiMeter(settings)
    if instrument is None:
        return LineMeter(settings)
    return LineMeter(settings, instrument.ranges, instrument.autorange)


def serial_opener(url: str, settings: SerialSettings) -> Callable[[], Port]:
    """Opens `url`, or the same adapter under its new name: plugged in again, a USB port may be renumbered."""
    identity = ""

    def open_it() -> Port:
        nonlocal identity
        here = {port.device: port for port in ports_found()}
        address = url
        if url in here:
            identity = here[url].identity
        elif identity:
            address = next((port.device for port in here.values() if port.identity == identity), url)
        return SerialPort(address, settings)

    return open_it


class MeterLink:
    """A meter on a port: `poll` often, and it sends what is due and returns (time, event) pairs.

    A lost line is told once, opened again every half second, and told when it is back. Readings that came
    in one piece are spread over the time since the last piece, so that a stream keeps its pace.
    """

    def __init__(self, open_it: Callable[[], Port], meter: Meter, settings: SerialSettings) -> None:
        self._open_it, self.meter = open_it, meter
        self.port: Port | None = open_it()
        self._quiet_s = max(2.0 * settings.answer_within_s, 3.0)
        self._rate = settings.rate
        self._heard_s = -math.inf
        self._last_poll_s = -math.inf
        self._tried_s = -math.inf
        self._heard_bytes = 0
        self._silence_said = False

    def poll(self, now_s: float) -> list[tuple[float, Event]]:
        """Everything that happened since the last call."""
        if self.port is None:
            return self._reopen(now_s)
        try:
            to_send = self.meter.due(now_s)
            if to_send:
                self.port.write(to_send)
            data = self.port.read()
        except OSError:
            self.port.close()
            self.port, self._tried_s = None, now_s
            words = "the meter's cable is out: plug it in again; nothing that was taken is lost"
            return [(now_s, Trouble("lost", words))]
        events = list(_spread(self.meter.feed(data), self._last_poll_s, now_s)) if data else []
        self._last_poll_s = now_s
        self._heard_bytes += len(data)
        return events + self._silence(now_s, events)

    def _silence(self, now_s: float, events: Sequence[tuple[float, Event]]) -> list[tuple[float, Event]]:
        if math.isinf(self._heard_s) or any(isinstance(event, Shown) for _, event in events):
            self._heard_s, self._silence_said, self._heard_bytes = now_s, False, 0
        elif now_s - self._heard_s > self._quiet_s and not self._silence_said and not self._heard_bytes:
            self._silence_said = True
            words = (
                f"nothing comes from the meter at {self._rate}: check that it is on, that its serial output "
                "is switched on, and the cable"
            )
            return [(now_s, Trouble("silent", words))]
        return []

    def _reopen(self, now_s: float) -> list[tuple[float, Event]]:
        if now_s - self._tried_s < REOPEN_EVERY_S:
            return []
        self._tried_s = now_s
        try:
            self.port = self._open_it()
        except InstrumentError:
            return []
        self.meter.restart()
        self._last_poll_s = self._heard_s = now_s
        return [(now_s, Trouble("back", "the meter is back"))]

    def close(self) -> None:
        """Close the port."""
        if self.port is not None:
            self.port.close()


def _spread(events: Sequence[Event], before_s: float, now_s: float) -> Iterable[tuple[float, Event]]:
    if len(events) < 2 or not math.isfinite(before_s) or now_s - before_s > 1.0:
        return [(now_s, event) for event in events]
    step_s = (now_s - before_s) / len(events)
    return [(before_s + (index + 1) * step_s, event) for index, event in enumerate(events)]
