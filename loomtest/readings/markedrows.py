"""Takes the touches against the common out of a table of readings, and puts the clips on their points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from loomtest.errors import InputError, Problem
from loomtest.harness.model import FloatArray, IntArray
from loomtest.readings.columns import Columns
from loomtest.readings.kitfile import MOST_ROUNDS, SeatRow
from loomtest.readings.marked import COMMON, Marked, Seat
from loomtest.readings.model import Quantity, Readings
from loomtest.readings.values import ValueSyntaxError, quoted


def parse_round(text: str) -> float:
    """The number of a round: 1, 2, 3. Raises ValueSyntaxError."""
    if text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= MOST_ROUNDS:
        return float(text)
    raise ValueSyntaxError(quoted(text), "the number of a round of markers.csv: 1, 2, 3 …")


def seat_points(columns: Columns, seats: Sequence[SeatRow]) -> list[int]:
    """The code of every seat's point; what is wrong with one goes to the columns' errors."""
    codes, told = [], set()
    harness = columns.harness
    if seats and COMMON in harness.code_of:
        expected = f"another name for it in the wire list: with marker clips {COMMON} is where the leads meet"
        columns.errors.append(
            Problem(seats[0].file, None, "point", f"a point {COMMON} in the loom", expected)
        )
    on: dict[tuple[int, int], SeatRow] = {}
    for seat in seats:
        try:
            code = columns.point_code(seat.point)
        except ValueSyntaxError as error:
            code = -1
            if seat.point not in told:
                told.add(seat.point)
                columns.errors.append(Problem(seat.file, seat.line, "point", error.found, error.expected))
        codes.append(code)
        if 0 <= code < len(harness.points):
            before = on.setdefault((seat.round, int(harness.net_of[code])), seat)
            if before is not seat:
                found = f"{before.clip.marker} on {before.point} and {seat.clip.marker} on {seat.point}, "
                found += "which the wire list joins"
                columns.errors.append(
                    Problem(seat.file, seat.line, "point", found, "one clip on each circuit in a round")
                )
    return codes


def rounds_of(columns: Columns, touching: IntArray, seats: Sequence[SeatRow]) -> IntArray:
    """(n,) the round of every row, 1 where it is left out; a touch in a round without seats is an error."""
    number, stated = columns.parsed("round", parse_round)
    out = np.where(stated & np.isfinite(number), number, 1.0).astype(np.int64)
    known = {seat.round for seat in seats}
    rows = [row for row in touching.tolist() if int(out[row]) not in known]
    listed = ", ".join(str(one) for one in sorted(known)[:20])
    for row in rows:
        columns.error_rows(
            np.array([row]), "round", f"round {out[row]}", f"a round of {seats[0].file}: {listed}"
        )
    return out


def check_touches(
    columns: Columns, touching: IntArray, quantity: IntArray, tied: Mapping[int, object]
) -> None:
    """A touch against the common is a resistance, and nothing is tied to it."""
    wrong = touching[
        (quantity[touching] != Quantity.RESISTANCE) & (quantity[touching] != Quantity.RESISTANCE_4W)
    ]
    columns.error_rows(wrong, "quantity", f"another quantity against {COMMON}", "resistance")
    both = np.array([row for row in touching.tolist() if row in tied], dtype=np.int64)
    columns.error_rows(
        both, "bonded", f"clips beside {COMMON}", "nothing: the marker clips are in markers.csv"
    )


def part_marked(readings: Readings, common: int, rounds: IntArray, seats: tuple[Seat, ...]) -> Readings:
    """The readings without their touches against `common` (the last point), which stand in `marked`."""
    touch = (readings.start == common) | (readings.end == common)
    kept, touched = np.flatnonzero(~touch), np.flatnonzero(touch)
    point = np.where(readings.start == common, readings.end, readings.start)

    def of(column: FloatArray | IntArray) -> np.ndarray:
        return np.asarray(column[touched])

    marked = Marked(
        seats=seats,
        point=of(point),
        round=of(rounds),
        ohm=of(readings.value),
        above_ohm=of(readings.above_ohm),
        uncertainty=of(readings.uncertainty),
        row=of(readings.row),
    )
    names = (
        "start",
        "end",
        "quantity",
        "value",
        "above_ohm",
        "current_a",
        "uncertainty",
        "temperature_c",
        "row",
    )
    place = {int(old): new for new, old in enumerate(kept.tolist())}
    return replace(
        readings,
        points=readings.points[:common],
        **{name: getattr(readings, name)[kept] for name in names},
        bonded={place[row]: tied for row, tied in readings.bonded.items() if row in place},
        notes={place[row]: text for row, text in readings.notes.items() if row in place},
        times={place[row]: text for row, text in readings.times.items() if row in place},
        marked=marked,
    )


def seats_at(seats: Sequence[SeatRow], codes: Sequence[int]) -> tuple[Seat, ...]:
    """The seats with their points as codes."""
    pairs = zip(seats, codes, strict=True)
    return tuple(Seat(round=seat.round, clip=seat.clip, point=code) for seat, code in pairs)


def same_seats(one: Sequence[SeatRow], other: Sequence[SeatRow]) -> bool:
    """Whether two files say the same, whatever the order of their rows."""

    def plain(seats: Sequence[SeatRow]) -> set[tuple[int, str, str, float]]:
        return {(seat.round, seat.clip.marker, seat.point, seat.clip.ohms) for seat in seats}

    return plain(one) == plain(other)


def check_same(own: Sequence[SeatRow], given: Sequence[SeatRow]) -> None:
    """Raises InputError where the file given for a run folder is not what the run itself says."""
    if own and not same_seats(own, given):
        found = "other rounds, clips or values than the run's own"
        expected = f"what {own[0].file} says (a kit or placings of another run); leave --markers out"
        raise InputError([Problem(given[0].file if given else own[0].file, None, "", found, expected)])
