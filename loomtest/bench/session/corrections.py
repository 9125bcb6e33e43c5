"""The readings of a run as a list that can be put right: any of them said again, or taken back.

Nothing is rewritten: a row is withdrawn by one more row, and the right value is a row of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from loomtest.bench.plan.plan import Step
from loomtest.bench.session.by_hand import step_between
from loomtest.harness.model import Harness
from loomtest.readings.model import Quantity
from loomtest.readings.run import RunWriter
from loomtest.words.sitting import REASONS


@dataclass(frozen=True, slots=True)
class Listed:
    """A row of the run. `withdrawn`: the row that took it back; 0 while it stands. `why`: its reason."""

    row: int
    start: str
    end: str
    value: str
    quantity: str
    withdrawn: int = 0
    why: str = ""


def listed(writer: RunWriter) -> list[Listed]:
    """Every reading of the run in its order, those that were taken back among them."""
    out: dict[int, Listed] = {}
    for row, cells in writer.rows():
        if cells["withdraws"]:
            of = int(cells["withdraws"])
            if of in out:
                out[of] = replace(out[of], withdrawn=row, why=cells["note"])
        if cells["value"]:
            out[row] = Listed(row, cells["from"], cells["to"], cells["value"], cells["quantity"])
    return list(out.values())


def standing(writer: RunWriter, row: int) -> Listed | None:
    """The reading in that row, None where there is none or it was taken back."""
    found = next((one for one in listed(writer) if one.row == row), None)
    return found if found is not None and not found.withdrawn else None


def take_back(writer: RunWriter, row: int, why: str = REASONS["back"]) -> int:
    """Withdraw a row; the number of the row that does it. Raises ValueError."""
    if standing(writer, row) is None:
        raise ValueError(f"row {row} holds no reading to take back")
    return writer.withdraw(row, why)


def say_again(writer: RunWriter, row: int, value: str) -> tuple[int, int]:
    """The right value of a row: (the row that withdraws it, the row that says it anew).

    The pair, its clips and what was measured stay. Raises ValueError for what is no value.
    """
    if standing(writer, row) is None:
        raise ValueError(f"row {row} holds no reading to correct")
    reading = replace(writer.reading_in(row), value=value, time="", note="")
    writer.check(reading)
    back = writer.withdraw(row, REASONS["corrected"])
    return back, writer.record(reading)


def step_of(harness: Harness, writer: RunWriter, row: int) -> Step:
    """What a row of an earlier sitting was read for. Raises ValueError where it holds no reading."""
    reading = writer.reading_in(row)
    step = step_between(harness, reading.start, reading.end)
    if reading.quantity is Quantity.DIODE:
        step = replace(step, what="part", quantity="diode")
    elif reading.quantity in (Quantity.VOLTAGE_DROP, Quantity.CAPACITANCE):
        step = replace(step, what="place", quantity=reading.quantity.name.lower())
    return replace(step, bonded=reading.bonded_end)
