"""Readings that tell where along a wire a fault is: asked once the fault stands and all else is read."""

from __future__ import annotations

from dataclasses import replace

from loomtest.bench.plan.plan import Step
from loomtest.diagnosis.verdict import Finding, Verdict
from loomtest.diagnosis.why import PlaceReading
from loomtest.harness.model import Harness
from loomtest.readings.model import Instrument, Quantity, Readings
from loomtest.words.place import finds_place

_Key = tuple[str, str, str]


class PlacesAsked:
    """What the findings ask for to be placed, one after another; none is asked twice.

    The loom is judged once, and again when all that this asked for was read.
    """

    def __init__(self, harness: Harness) -> None:
        self._harness = harness
        self._wanted: tuple[Step, ...] = ()
        self._judged = -1  # how many readings there were

    def next(self, readings: Readings, instrument: Instrument, number: int) -> Step | None:
        """The next one; None where no fault stands that could be placed, or the meter cannot."""
        if not (instrument.voltage_ranges or instrument.capacitance_ranges) and (
            instrument.method != "four-wire"
        ):
            return None
        step = self._left(readings, instrument, number)
        if step is None and len(readings) != self._judged:
            from loomtest.diagnosis.judge import judge

            self._wanted = place_steps(judge(self._harness, readings, instrument))
            self._judged = len(readings)
            step = self._left(readings, instrument, number)
        return step

    def _left(self, readings: Readings, instrument: Instrument, number: int) -> Step | None:
        had = _taken(readings, instrument)
        for step in self._wanted:
            if _key(step.quantity, step.start, step.end) not in had:
                return replace(step, step=number)
        return None


def place_steps(verdict: Verdict) -> tuple[Step, ...]:
    """The readings that would place the findings of a verdict, as steps."""
    asked = [(finding, reading) for finding in verdict.findings for reading in finding.asked]
    return tuple(_step(number, finding, reading) for number, (finding, reading) in enumerate(asked, 1))


def _step(number: int, finding: Finding, asked: PlaceReading) -> Step:
    proves = finds_place(finding.fault, finding.points)
    return Step(
        number,
        "place",
        asked.start,
        asked.end,
        None,
        proves,
        asked.bonded,
        asked.quantity,
        clip_at_end=bool(asked.bonded),
        feed=asked.feed,
    )


def _key(quantity: str, start: str, end: str) -> _Key:
    """Ohms by four leads are the same either way round; a drop and a capacitance have a beginning."""
    if quantity == "resistance_4w":
        start, end = min(start, end), max(start, end)
    return quantity, start, end


def _taken(readings: Readings, instrument: Instrument) -> set[_Key]:
    names = readings.points
    turned = [False] * len(readings) if readings.turned is None else readings.turned.tolist()
    four_wire = instrument.method == "four-wire"
    out = set()
    for a, b, code, back in zip(
        readings.start.tolist(), readings.end.tolist(), readings.quantity.tolist(), turned, strict=True
    ):
        quantity = Quantity(code)
        if four_wire and quantity is Quantity.RESISTANCE:
            quantity = Quantity.RESISTANCE_4W
        start, end = (b, a) if back else (a, b)
        out.add(_key(quantity.name.lower(), names[start], names[end]))
    return out
