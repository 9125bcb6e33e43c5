"""Readings from a CSV file or a run folder; every mistake in it is reported at once."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from loomtest.errors import InputError, Problem
from loomtest.harness.model import BoolArray, FloatArray, Harness, IntArray
from loomtest.readings.bulk import WORTH_IT_BYTES, bulk_table
from loomtest.readings.columns import (
    Columns,
    NeedsCareError,
    constant,
    used_codes,
)
from loomtest.readings.model import Quantity, Readings
from loomtest.readings.scale import check_decimals, scale_doubts
from loomtest.readings.table import ReadingsTable, check_size, decode, parse_table, read_bytes
from loomtest.readings.values import (
    MOST_INFINITY,
    SCPI_INFINITY,
    SCPI_NAN,
    Value,
    ValueSyntaxError,
    bare_number,
    dimension_of,
    lowest,
    most,
    parse_current,
    parse_range,
    parse_temperature,
    parse_unit,
    parse_value,
    quoted,
)

if TYPE_CHECKING:
    from loomtest.readings.kitfile import SeatRow


def load_readings(path: str | Path, harness: Harness, markers: str | Path | None = None) -> Readings:
    """The readings at `path` on the points of `harness`: a CSV file (also `.csv.gz`), the same table as
    `.parquet`, or a run folder.

    `markers`: the file that says where marker clips sat, for touches against COMMON (a run has its own).
    Withdrawn rows are removed. A voltage drop below zero is stored with its leads exchanged. Raises
    InputError with every problem; oddities stand in `Readings.warnings`.
    """
    place, given = Path(path), () if markers is None else _seats(markers)
    if place.is_dir():
        from loomtest.readings.runfile import open_run  # a plain CSV file needs none of it

        opened = open_run(place)
        seats = opened.seats or given
        if given:
            from loomtest.readings.markedrows import check_same

            check_same(opened.seats, given)
        readings = _read(opened.data, opened.file, harness, opened.warnings(harness), seats)
        return replace(readings, run=opened.run, instrument=opened.instrument, source=str(path))
    if place.suffix == ".parquet":
        return replace(_from_parquet(place, str(path), harness, given), source=str(path))
    return replace(_read(place, str(path), harness, seats=given), source=str(path))


def _seats(markers: str | Path) -> tuple[SeatRow, ...]:
    from loomtest.readings.kitfile import read_seats  # most runs have none

    return read_seats(markers)


def _from_parquet(path: Path, file: str, harness: Harness, seats: tuple[SeatRow, ...]) -> Readings:
    from loomtest.readings.parquet import in_words, parquet_table

    table = parquet_table(path, file)
    try:
        return assemble(table, harness, seats)
    except (NeedsCareError, InputError):
        return assemble(in_words(table), harness, seats)


def _read(
    source: Path | bytes,
    file: str,
    harness: Harness,
    warnings: tuple[Problem, ...] = (),
    seats: tuple[SeatRow, ...] = (),
) -> Readings:
    if isinstance(source, Path) and source.is_file():
        check_size(source.stat().st_size, file)
    large = len(source) > WORTH_IT_BYTES if isinstance(source, bytes) else _is_large(source)
    table = bulk_table(source, file) if large else None
    if table is not None:
        try:
            return assemble(replace(table, warnings=warnings + table.warnings), harness, seats)
        except (NeedsCareError, InputError):
            pass  # the careful reader below says it with each cell's own spelling
    data = source if isinstance(source, bytes) else read_bytes(source, file)
    table = parse_table(decode(data, file), file)
    return assemble(replace(table, warnings=warnings + table.warnings), harness, seats)


def _is_large(path: Path) -> bool:
    # A packed file of readings is some eight times smaller than its text.
    least = WORTH_IT_BYTES // 8 if path.suffix == ".gz" else WORTH_IT_BYTES
    return path.is_file() and path.stat().st_size > least


def assemble(table: ReadingsTable, harness: Harness, seats: tuple[SeatRow, ...] = ()) -> Readings:
    """The readings of a table; with `seats` its touches against the common too. Raises InputError with every
    problem of it."""
    columns = Columns(table, harness, with_common=bool(seats))
    start, end = columns.point_codes("from"), columns.point_codes("to")
    tied_start, tied_end = columns.bonded("bonded_from"), columns.bonded("bonded")
    quantity = columns.quantities()
    value, above, scale = _values(columns, quantity)
    limit, limited = columns.parsed("range", parse_range)
    current, _ = columns.parsed("current", parse_current)
    temperature, _ = columns.parsed("temperature", parse_temperature)
    uncertainty, stated = _uncertainty(columns, quantity, scale)
    _check_pairs(columns, start, end, tied_start, tied_end)
    check_decimals(columns)
    marks = _Marks(columns, seats, (start, end, quantity), {**tied_start, **tied_end}) if seats else None
    start, end, value, turned = _check_drops(columns, quantity, current, (start, end, value))
    if columns.errors:
        raise InputError(sorted(columns.errors, key=lambda p: p.line or 0))
    new_code = columns.sort_undeclared()
    if len(columns.points) > len(harness.points):
        start, end = new_code[start], new_code[end]
    columns.warn_of_points(start, end)
    if stated.any():
        _warn_of_uncertainties(columns, value, uncertainty)
    if limited.any():
        above = np.where(np.isinf(value) & np.isnan(above), limit, above)
    bonded = {
        row: (
            tuple(int(new_code[code]) for code in tied_start.get(row, ())),
            tuple(int(new_code[code]) for code in tied_end.get(row, ())),
        )
        for row in sorted(tied_start.keys() | tied_end.keys())
    }
    readings = Readings(
        points=tuple(columns.points),
        start=start,
        end=end,
        quantity=quantity,
        value=value,
        above_ohm=above,
        current_a=current,
        uncertainty=uncertainty,
        temperature_c=temperature,
        row=columns.lines,
        bonded=bonded,
        notes=columns.notes(),
        times=columns.times(),
        warnings=tuple(sorted(columns.warnings, key=lambda p: p.line or 0)),
        source=table.file,
        withdrawn=columns.withdrawn,
        turned=turned,
    )
    if marks is not None:
        readings = marks.part(readings, new_code)
    return replace(readings, warnings=readings.warnings + scale_doubts(readings, harness))


class _Marks:
    """Marker clips and the touches against their common, while the other columns are read."""

    def __init__(
        self,
        columns: Columns,
        seats: tuple[SeatRow, ...],
        read: tuple[IntArray, IntArray, IntArray],
        tied: dict[int, tuple[int, ...]],
    ) -> None:
        from loomtest.readings.markedrows import check_touches, rounds_of, seat_points

        start, end, quantity = read
        self.seats, self.codes = seats, seat_points(columns, seats)
        common = columns.common
        touching = np.flatnonzero((start == common) | (end == common)) if common >= 0 else start[:0]
        self.rounds = rounds_of(columns, touching, seats)
        check_touches(columns, touching, quantity, tied)

    def part(self, readings: Readings, new_code: IntArray) -> Readings:
        """The readings with their touches in `marked`; `new_code` (P,) of every point code until then."""
        from loomtest.readings.markedrows import part_marked, seats_at

        seats = seats_at(self.seats, new_code[self.codes].tolist())
        return part_marked(readings, len(readings.points) - 1, self.rounds, seats)


def _values(columns: Columns, quantity: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(n,) values in SI units, what over-range states, and SI units in one of each written unit."""
    n = len(columns.lines)
    unit, unit_texts, _ = columns.unit
    plain = columns.plain()
    if plain is not None:
        value, scale = _plain_values(columns, plain, quantity)
    else:
        value, scale = np.full(n, math.nan), np.ones(n)
    cells = columns.value_cells()
    odd = np.flatnonzero(cells.codes >= 0)
    if not len(odd):
        return value, constant(n, math.nan), scale
    above, scale = np.full(n, math.nan), scale.copy()
    keys = (cells.codes[odd].astype(np.int64) * len(Quantity) + quantity[odd]) * len(unit_texts) + unit[odd]
    distinct, inverse = _distinct(keys)
    results: list[Value] = []
    commas: dict[int, str] = {}
    bad: dict[int, ValueSyntaxError] = {}
    for index, key in enumerate(distinct.tolist()):
        rest, u = divmod(key, len(unit_texts))
        code, q = divmod(rest, len(Quantity))
        try:
            result = parse_value(
                cells.texts[code], Quantity(q), unit_texts[u], comma_is_decimal=columns.table.comma_is_decimal
            )
        except ValueSyntaxError as error:
            bad[index], result = error, Value(math.nan)
        if result.comma:
            commas[index] = cells.texts[code]
        results.append(result)
    value[odd] = np.array([r.number for r in results])[inverse]
    above[odd] = np.array([r.above_ohm for r in results])[inverse]
    scale[odd] = np.array([r.scale for r in results])[inverse]
    columns.report(inverse, "value", bad, odd)
    if commas:
        first = int(np.flatnonzero(np.isin(inverse, list(commas)))[0])
        text = commas[int(inverse[first])]
        expected = f"a decimal point; decimal commas are read as points ({text.replace(',', '.')})"
        columns.warn_row(int(odd[first]), "value", quoted(text), expected)
    return value, above, scale


def _distinct(keys: IntArray) -> tuple[IntArray, IntArray]:
    """The keys that occur, ascending, and (n,) which of them each is."""
    most = int(keys.max())
    if most > 4 * len(keys) + 1000:
        return np.unique(keys, return_inverse=True)
    occurs = np.zeros(most + 1, dtype=np.bool_)  # a table takes a tenth of the time of a sort
    occurs[keys] = True
    return np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[keys]


def _plain_values(columns: Columns, plain: FloatArray, quantity: IntArray) -> tuple[FloatArray, FloatArray]:
    """Bare numbers of the bulk reader in SI units, NaN where the cell is none.

    Raises NeedsCareError where one of them has to be reported, so that the careful reader says it.
    """
    unit, unit_texts, unit_scale = columns.unit
    over = plain >= SCPI_INFINITY * (1 - 1e-9)
    marks = plain[over & np.isfinite(plain)]
    if (np.abs(marks / SCPI_NAN - 1) < 1e-4).any() or (marks >= MOST_INFINITY).any():
        raise NeedsCareError
    scale = constant(len(plain), 1.0)
    value = plain.copy()
    if unit_texts != [""]:
        scale = np.where(np.isnan(unit_scale), 1.0, unit_scale)
        value *= scale
    value[over] = np.inf
    stated = ~np.isnan(plain)
    for q in used_codes(quantity):
        here = stated & (quantity == q)
        dimension = dimension_of(Quantity(q))
        highest = np.max(value, initial=-np.inf, where=here & ~over)
        least = np.min(value, initial=np.inf, where=here)
        if highest > most(dimension) or least < lowest(Quantity(q)):
            raise NeedsCareError
        if dimension == "yes/no" and here.any():
            raise NeedsCareError
        if q in (Quantity.VOLTAGE_DROP, Quantity.CAPACITANCE) and (here & over).any():
            raise NeedsCareError
        if unit_texts != [""] and any(
            unit_texts[u] and parse_unit(unit_texts[u])[1] not in ("", dimension)
            for u in used_codes(unit[here])
        ):
            raise NeedsCareError
    return value, scale


def _uncertainty(columns: Columns, quantity: IntArray, scale: FloatArray) -> tuple[FloatArray, BoolArray]:
    """(n,) standard uncertainties in the SI unit of their values, NaN where none is; and where one is."""
    own_unit: set[str] = set()

    def parse(text: str) -> float:
        number = bare_number(text)
        if number is None:
            number = _of_any_kind(text)
            own_unit.add(text)
        if not 0.0 < number < math.inf:
            raise ValueSyntaxError(quoted(text), "a standard uncertainty above zero")
        return number

    number, stated = columns.parsed("uncertainty", parse)
    cells = columns.cells("uncertainty")
    if cells is None:
        return number, stated
    own = np.array([text in own_unit for text in cells.texts], dtype=np.bool_)[cells.codes]
    _, _, unit_scale = columns.unit
    factor = np.where(np.isnan(unit_scale), scale, unit_scale)
    out = number * np.where(own, 1.0, factor)
    return np.where(quantity == Quantity.CONTINUITY, math.nan, out), stated


def _of_any_kind(text: str) -> float:
    """A value in ohms, volts or farads, by the unit beside it. Raises ValueSyntaxError."""
    for quantity in (Quantity.VOLTAGE_DROP, Quantity.CAPACITANCE):
        try:
            return parse_value(text, quantity).number
        except ValueSyntaxError:
            pass
    return parse_value(text).number


def _check_pairs(
    columns: Columns,
    start: IntArray,
    end: IntArray,
    tied_start: dict[int, tuple[int, ...]],
    tied_end: dict[int, tuple[int, ...]],
) -> None:
    """A pair of a point with itself, and a point tied to both sides, are mistakes."""
    for row in np.flatnonzero((start == end) & (start >= 0)).tolist():
        point = columns.points[int(start[row])]
        expected = "two different points, one for each probe"
        columns.error_rows(np.array([row]), "to", f"{quoted(point)} in both columns", expected)
    for row in tied_start.keys() | tied_end.keys():
        left = {int(start[row]), *tied_start.get(row, ())}
        right = {int(end[row]), *tied_end.get(row, ())}
        both = sorted(columns.points[code] for code in left & right if code >= 0)
        if both and start[row] != end[row]:
            found = f"{', '.join(both)} tied to both probes"
            columns.error_rows(np.array([row]), "bonded", found, "each point on one side only")


def _check_drops(
    columns: Columns,
    quantity: IntArray,
    current: FloatArray,
    pairs: tuple[IntArray, IntArray, FloatArray],
) -> tuple[IntArray, IntArray, FloatArray, BoolArray | None]:
    """Voltage drops need their current; those below zero had the leads the other way round: which ones."""
    start, end, value = pairs
    drops = quantity == Quantity.VOLTAGE_DROP
    if not drops.any():
        return (*pairs, None)
    cells = columns.cells("current")
    filled = (
        np.zeros(len(value), dtype=np.bool_)
        if cells is None
        else np.array([bool(text) for text in cells.texts], dtype=np.bool_)[cells.codes]
    )
    expected = "the amperes that flowed: a voltage drop says nothing without them"
    columns.error_rows(np.flatnonzero(drops & ~filled), "current", "nothing", expected)
    turned = drops & (value < 0.0)
    return (
        np.where(turned, end, start),
        np.where(turned, start, end),
        np.where(turned, -value, value),
        turned if turned.any() else None,
    )


def _warn_of_uncertainties(columns: Columns, value: FloatArray, uncertainty: FloatArray) -> None:
    """An uncertainty above the value itself, on more than an ohm, is rather a wrong unit."""
    large = np.isfinite(value) & (uncertainty > np.maximum(np.abs(value), 1.0))
    for row in np.flatnonzero(large)[:1].tolist():
        found = f"an uncertainty of {uncertainty[row]:g} on a value of {value[row]:g}"
        expected = "a standard uncertainty in the unit of its value; it is used as written"
        columns.warn_row(row, "uncertainty", found, expected)
