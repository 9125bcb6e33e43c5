"""From what the person wrote behind `--meter` or `--scanner` to what can be asked there."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from loomtest.bench.meter.port import MeterLink, meter_for, serial_opener
from loomtest.bench.meter.settings import SerialSettings, read_settings
from loomtest.bench.rehearsal.loom import SETTINGS, LoomPort, rehearsal_instrument
from loomtest.bench.rehearsal.meter import PREFIX, ScriptedPort, read_script
from loomtest.bench.scanner.driver import BAUD, SILENCE_S, Scanner, ScannerPort
from loomtest.errors import InputError, InstrumentError, Problem
from loomtest.harness.model import Harness
from loomtest.readings.generic import generic_handheld
from loomtest.readings.model import Instrument


def connect(
    address: str,
    instrument: Instrument | None,
    harness: Harness | None,
    clock: Callable[[], float] = time.monotonic,
) -> tuple[MeterLink, Instrument | None]:
    """A meter on a port, on any address that pyserial takes, or a rehearsed one, which lives by `clock`.

    Returns the link and the instrument to record: a rehearsed loom is read by the meter that was stated,
    else by a 4½-digit handheld. Raises InstrumentError or InputError.
    """
    settings = settings_of(instrument)
    if not is_rehearsal(address):
        return MeterLink(
            serial_opener(address, settings), meter_for(settings, instrument), settings
        ), instrument
    place = Path(address.removeprefix(PREFIX))
    if place.is_dir():
        from loomtest.harness.load import load_harness

        known = rehearsal_instrument(instrument or generic_handheld())
        port = LoomPort(harness or load_harness(place), place, known, clock)
        return MeterLink(lambda: port, meter_for(SETTINGS, known), SETTINGS), known
    if not place.is_file():
        expected = "a harness folder, or a file with a script for the meter"
        raise InputError([Problem(address, None, "", "no such file", expected)])
    scripted = ScriptedPort(read_script(place), clock)
    return MeterLink(scripted.reopen, meter_for(settings, instrument), settings), instrument


def is_rehearsal(address: str) -> bool:
    """True where a port is written of a meter or scanner that is only simulated."""
    return address.startswith(PREFIX)


def settings_of(instrument: Instrument | None) -> SerialSettings:
    """The table `[serial]` of the instrument's file; the defaults where there is none."""
    if instrument is None or not instrument.text:
        return SerialSettings()
    return read_settings(instrument.text, instrument.source) or SerialSettings()


def _scanner_port(port: str) -> ScannerPort:
    """The serial port, or the rehearsal's board. Raises InstrumentError when it cannot be opened."""
    if is_rehearsal(port):
        from loomtest.bench.rehearsal.scanner import rehearsal_port

        return rehearsal_port(Path(port.removeprefix(PREFIX)))
    import serial

    try:
        opened: ScannerPort = serial.serial_for_url(port, BAUD, timeout=0.05, write_timeout=5.0)
    except (OSError, ValueError) as error:
        raise InstrumentError(f"{port}: no serial port could be opened there ({error})") from error
    return opened


def open_scanner(port: str, *, silence_s: float = SILENCE_S) -> Scanner:
    """A scanner on `port`. Raises InstrumentError when nothing there answers as one."""
    opened = _scanner_port(port)
    try:
        return Scanner(opened, silence_s=silence_s)
    except BaseException:
        opened.close()
        raise


def identify(port: str, wait_s: float = 2.0) -> str | None:
    """One line about the scanner on `port`, or None when nothing there answers as one."""
    try:
        with open_scanner(port, silence_s=wait_s / 4) as scanner:
            who = scanner.identity
    except InstrumentError:
        return None
    kind = "milliohms and parallel tests" if who.switches else "plain"
    state = "calibrated" if who.calibrated else "not calibrated"
    return f"pin-scanner, {who.pins} pins, {kind}, firmware {who.firmware}, {state}"
