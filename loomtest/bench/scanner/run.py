"""From a scan to a run folder: rows of the board become readings between points of the harness."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from loomtest.bench.scanner.answers import PinRow, SelfTest
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.protocol import PinValue
from loomtest.bench.scanner.sockets import SOCKETS_FILE, Sockets
from loomtest.bench.scanner.values import (
    OVER_RANGE_PROVES_OHM,
    UNCALIBRATED_PPM,
    UNIT_OHM,
    UP_TO_OHM,
    BoardBudget,
)
from loomtest.errors import InstrumentError, RunFolderError
from loomtest.readings.model import Instrument, Quantity, Range
from loomtest.readings.run import Reading, RunWriter
from loomtest.readings.runfile import events_of, open_run

REACHED_BELOW_OHM = 90.0  # what the parallel test takes for joined is below 81 Ω
ROW_EVENT = "pin scanned"
_OVER = f">{OVER_RANGE_PROVES_OHM:.0f}"
AGREE_SIGMA = 6.0  # repeats that differ more are recorded apart: a joint that moves is no noise


def instrument_of(scanner: Scanner, budget: BoardBudget) -> Instrument:
    """What the run folder says of the board; every reading brings its own uncertainty beside it."""
    who = scanner.identity
    ppm = {kept.range: kept.ppm or UNCALIBRATED_PPM for kept in budget.calibration}
    ranges = [Range(UP_TO_OHM[r], ppm[r] * 1e-4 * math.sqrt(3.0), 1.0, UNIT_OHM[r]) for r in sorted(ppm)]
    state = "" if who.calibrated else ", not calibrated"
    return Instrument(
        name=f"pin-scanner, {who.pins} pins, firmware {who.firmware}{state}",
        method="four-wire",
        autorange=True,
        lead_ohms=0.0,
        open_above_ohms=OVER_RANGE_PROVES_OHM,
        beep_below_ohms=REACHED_BELOW_OHM,
        ranges=tuple(ranges),
    )


def keep_sockets(writer: RunWriter, sockets: Sockets) -> None:
    """Put the table that the readings are made with into the run folder, of a scan in parts each part's.

    Raises RunFolderError when a run that goes on was begun with another table.
    """
    place = writer.folder / (f"sockets-{sockets.part}.csv" if sockets.part else SOCKETS_FILE)
    if not place.is_file():
        place.write_text(sockets.text(), "utf-8", newline="\n")
    elif place.read_text("utf-8") != sockets.text():
        writer.close("stopped", "another socket table")
        raise RunFolderError(
            f"{writer.folder} was begun with another socket table ({place}): put that table into the harness "
            "folder, or begin a new run"
        )


def ready(scanner: Scanner, sockets: Sockets) -> BoardBudget:
    """Self-test before a scan, and the budget that follows from it.

    Raises StandingVoltageError on a live loom, InstrumentError when a pin that is used is not right.
    """
    test = scanner.self_test()
    bad = sorted(pin for pin in test.bad if pin in sockets.by_pin)
    if bad:
        where = ", ".join(f"{pin} ({sockets.by_pin[pin].point})" for pin in bad[:8])
        raise InstrumentError(
            f"the scanner's self-test fails at pin {where}: measured with the loom unplugged it tells "
            "whether the board or the loom is at fault"
        )
    _check_rest(test)
    return BoardBudget(test.noise_codes, scanner.calibration())


def _check_rest(test: SelfTest) -> None:
    if not test.passed and not test.bad:
        raise InstrumentError(
            f"the scanner's self-test fails: baseline {test.baseline_code} codes, noise "
            f"{test.noise_codes:.1f} codes; expected at most 30 and 4. Look for moisture and a loose supply"
        )


@dataclass(frozen=True, slots=True)
class Merged:
    """One ordered pair over repeated scans: values that agree are one mean."""

    value: PinValue
    averaged: int


def merge(values: Sequence[PinValue], budget: BoardBudget) -> tuple[Merged, ...]:
    """The mean of values of one range that agree within their uncertainty; otherwise each by itself."""
    ranges = {value.range for value in values}
    if len(values) == 1 or len(ranges) > 1:
        return tuple(Merged(value, 1) for value in dict.fromkeys(values))
    if values[0].range is None:
        return (Merged(values[0], len(values)),)
    ohms = [value.ohms for value in values]
    widest = max(budget.uncertainty_ohm(value) for value in values)
    if max(ohms) - min(ohms) > AGREE_SIGMA * widest:
        return tuple(Merged(value, 1) for value in values)
    return (Merged(PinValue(math.fsum(ohms) / len(ohms), values[0].range), len(values)),)


def readings_of(
    pin: int,
    columns: Mapping[int, Sequence[PinValue]],
    sockets: Sockets,
    budget: BoardBudget,
    at: str = "",
) -> Iterator[Reading]:
    """Readings of one pin driven high; `columns`: the values against each other pin, over repeated scans;
    `at`: when, where the clock is not to be asked for each."""
    start = sockets.by_pin[pin]
    for other, values in columns.items():
        end = sockets.by_pin[other]
        for merged in merge(values, budget):
            if merged.value.range is None:
                yield Reading(start.point, end.point, _OVER, Quantity.RESISTANCE_4W, time=at)
                continue
            yield Reading(
                start.point,
                end.point,
                merged.value.ohms - start.lead_ohm - end.lead_ohm,
                Quantity.RESISTANCE_4W,
                unit="ohm",
                time=at,
                uncertainty=float(f"{budget.uncertainty_ohm(merged.value, merged.averaged):.3g}"),
                note=f"range {merged.value.range}"
                + (f", mean of {merged.averaged}" if merged.averaged > 1 else ""),
            )


@dataclass(frozen=True, slots=True)
class RowRecorded:
    """One row recorded: `done` of `total`; `joined`: other pins that it was not over-range to."""

    pin: int
    point: str
    done: int
    total: int
    joined: int


def rows_recorded(folder: Path, sockets: Sockets) -> frozenset[int]:
    """Pins whose whole row stands in a run folder already: a scan that stopped goes on behind them."""
    events = events_of(open_run(folder).run.raw)
    return frozenset(
        int(event["pin"])
        for event in events
        if event.get("what") == ROW_EVENT
        and isinstance(event.get("pin"), int)
        and event.get("part", 0) == sockets.part
        and event.get("point") == getattr(sockets.by_pin.get(event["pin"]), "point", None)
    )


def record_scan(
    scanner: Scanner,
    sockets: Sockets,
    budget: BoardBudget,
    writer: RunWriter,
    *,
    repeats: int = 1,
    done: frozenset[int],
    by_row: bool = True,
) -> Iterator[RowRecorded]:
    """Scan, `repeats` times over, and record; a row is on disk when its RowRecorded comes.

    Pins without a socket are scanned by the board and not recorded. Rows in `done` are left out. `by_row`
    False: the scan counts only as a whole and is on disk when the run is closed.
    """
    wanted = [pin for pin in sorted(sockets.by_pin) if pin not in done]
    seen: dict[int, dict[int, list[PinValue]]] = {pin: {} for pin in wanted}
    finished = 0
    for repeat in range(repeats):
        for row in scanner.scan(wanted):
            columns = seen[row.pin]
            _collect(row, columns, sockets)
            if repeat + 1 < repeats:
                continue
            at = writer.time_now()  # one answer of the board, one time
            for reading in readings_of(row.pin, columns, sockets, budget, at):
                try:
                    writer.record_later(reading)
                except ValueError as error:
                    pair = f"{reading.start} and {reading.end}"
                    raise InstrumentError(f"the scanner's reading of {pair} cannot be: {error}") from None
            if by_row:
                writer.flush()
                part = {"part": sockets.part} if sockets.part else {}
                writer.note_event(ROW_EVENT, pin=row.pin, point=sockets.by_pin[row.pin].point, **part)
            finished += 1
            joined = sum(any(v.range is not None for v in values) for values in columns.values())
            yield RowRecorded(row.pin, sockets.by_pin[row.pin].point, finished, len(wanted), joined)


def _collect(row: PinRow, columns: dict[int, list[PinValue]], sockets: Sockets) -> None:
    for other, value in enumerate(row.values, 1):
        if other in sockets.by_pin and not math.isnan(value.ohms):
            columns.setdefault(other, []).append(value)


def now() -> datetime:
    """The clock of a run folder."""
    return datetime.now().astimezone()
