"""From what the person wrote behind `--meter` to a meter that can be polled."""

from __future__ import annotations

import time
from pathlib import Path

from loomtest.bench.meter.port import MeterLink, meter_for, serial_opener
from loomtest.bench.meter.settings import SerialSettings, read_settings
from loomtest.bench.rehearsal.loom import SETTINGS, LoomPort, rehearsal_instrument
from loomtest.bench.rehearsal.meter import PREFIX, ScriptedPort, read_script
from loomtest.errors import InputError, Problem
from loomtest.harness.model import Harness
from loomtest.readings.instrument import generic_handheld
from loomtest.readings.model import Instrument


def connect(
    address: str, instrument: Instrument | None, harness: Harness | None
) -> tuple[MeterLink, Instrument | None]:
    """A meter on a port, on any address that pyserial takes, or a rehearsed one.

    Returns the link and the instrument to record: a rehearsed loom is read by the meter that was stated,
    else by a 4½-digit handheld. Raises InstrumentError or InputError.
    """
    settings = settings_of(instrument)
    if not address.startswith(PREFIX):
        return MeterLink(
            serial_opener(address, settings), meter_for(settings, instrument), settings
        ), instrument
    place = Path(address.removeprefix(PREFIX))
    if place.is_dir():
        from loomtest.harness.load import load_harness

        known = rehearsal_instrument(instrument or generic_handheld())
        port = LoomPort(harness or load_harness(place), place, known, time.monotonic)
        return MeterLink(lambda: port, meter_for(SETTINGS, known), SETTINGS), known
    if not place.is_file():
        expected = "a harness folder, or a file with a script for the meter"
        raise InputError([Problem(address, None, "", "no such file", expected)])
    scripted = ScriptedPort(read_script(place), time.monotonic)
    return MeterLink(scripted.reopen, meter_for(settings, instrument), settings), instrument


def settings_of(instrument: Instrument | None) -> SerialSettings:
    """The table `[serial]` of the instrument's file; the defaults where there is none."""
    source = Path(instrument.source) if instrument is not None and instrument.source else None
    if source is None or not source.is_file():
        return SerialSettings()
    return read_settings(source.read_text("utf-8-sig"), str(source)) or SerialSettings()
