"""The pictures of many units: the commonest faults (Pareto), and a circuit's control chart."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from loomtest.diagnosis.units.report import CircuitOverUnits, ManyUnits
from loomtest.evidence.archive.plot import made_folder, save_both
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Item, Polyline, Shape, Words
from loomtest.words.numbers import counted, ohms, percent
from loomtest.words.units import circuit_name, fault_words, share_words

WIDTH = 900.0
MOST_BARS = 15
MOST_CHARTS = 4
_LEFT, _RIGHT = 84.0, 876.0
_BAR = 30.0
_HIGH, _LOW = 190.0, 90.0  # of a chart of values, and of the moves below it


def write_unit_plots(
    name: str, units: ManyUnits, circuits: Sequence[CircuitOverUnits], out: Path
) -> list[Path]:
    """Write the Pareto picture and the control charts into `out`; their paths. Raises InputError."""
    made_folder(out)
    written = save_both(pareto_drawing(name, units), out / "faults")
    for number, one in enumerate(circuits, 1):
        written += save_both(chart_drawing(name, units, one), out / f"chart-{number}")
    return written


def chosen_circuits(units: ManyUnits, named: str = "") -> list[CircuitOverUnits]:
    """The circuit or wire of that name; else those with most units outside their limits, then the nearest to
    their own limit, at most four."""
    charted = [one for one in units.circuits if one.chart is not None]
    if named:
        return [one for one in charted if named in (one.circuit, one.wires, *one.wires.split(" + "))]

    def near(one: CircuitOverUnits) -> float:
        return one.usual.limits[1] / one.limit_ohm if one.usual is not None and one.limit_ohm else 0.0

    return sorted(charted, key=lambda one: (-one.outside, -near(one)))[:MOST_CHARTS]


def pareto_drawing(name: str, units: ManyUnits) -> Drawing:
    """One bar a fault and place, the commonest first, and the share of all faults so far as a line."""
    shown = units.faults[:MOST_BARS]
    told = "; ".join(f"{fault_words(one)}: {counted(one.units.count, 'unit')}" for one in shown)
    height = 110 + _BAR * max(len(shown), 1) + 46
    picture = Drawing(WIDTH, height, f"{name}: commonest faults", told or "no faults found")
    items = picture.items
    items.append(Words(24, 36, name[:80], 19, bold=True))
    first = f"Right at the first try: {share_words(units.right.first)}. Commonest faults by place"
    items.append(Words(24, 58, first, 13.5, "soft"))
    if not shown:
        items.append(Words(24, 120, "No faults found.", 13, "soft"))
        return picture
    items.append(Box(24, 76, 22, 12, 2, "bad"))
    items.append(Words(54, 87, "units with this fault", 12.5))
    items.append(Polyline(((204, 82), (230, 82)), "ink", 1.6))
    items.append(Dot(217, 82, 3.2, "ink"))
    items.append(Words(240, 87, "share of all faults so far", 12.5))
    _bars(items, units)
    return picture


def _bars(items: list[Item], units: ManyUnits) -> None:
    shown = units.faults[:MOST_BARS]
    left, right, top = 400.0, 840.0, 104.0
    total = sum(one.units.count for one in units.faults)  # a bar and the line have one axis
    line = []
    for number, one in enumerate(shown):
        y = top + _BAR * number
        text = fault_words(one)
        items.append(
            Words(left - 12, y + 19, text if len(text) <= 56 else text[:55] + "…", 12.5, anchor="end")
        )
        wide = (right - left) * one.units.count / total
        items.append(Box(left, y + 5, max(wide, 1.0), _BAR - 12, 2, "bad"))
        inside = wide > 60  # where the line of shares does not cross it
        x, fill, anchor = (left + wide - 14, "mark", "end") if inside else (left + wide + 9, "ink", "start")
        items.append(Words(x, y + 19, f"{one.units.count:,}", 12.5, fill, anchor, True))
        line.append((left + (right - left) * one.so_far, y + _BAR / 2))
    bottom = top + _BAR * len(shown) + 4
    items.append(Polyline(((left, top), (left, bottom)), "line", 1.0))
    items.append(Polyline(((left, bottom), (right, bottom)), "line", 1.0))
    for share in (0.0, 0.5, 1.0):
        x = left + (right - left) * share
        items.append(Polyline(((x, bottom), (x, bottom + 5)), "line", 1.0))
        items.append(Words(x, bottom + 20, f"{share * 100:.0f} %", 12, "soft", "middle"))
    items.append(Polyline(tuple(line), "ink", 1.6))
    for one, (x, y) in zip(shown, line, strict=True):
        items.append(Dot(x, y, 3.2, "ink", "paper", 0.8, f"so far {percent(one.so_far)}"))


def chart_drawing(name: str, units: ManyUnits, one: CircuitOverUnits) -> Drawing:
    """The control chart of individuals, and of the moves from one unit to the next below it."""
    chart = one.chart
    assert chart is not None
    called = circuit_name(one.circuit, one.wires)
    outside = counted(one.outside, "unit")
    told = (
        f"{counted(len(chart.value), 'unit')}, {outside} outside {ohms(chart.lower)} to {ohms(chart.upper)}"
    )
    picture = Drawing(WIDTH, 96 + _HIGH + 40 + _LOW + 44, f"{name}: {called} over units", told)
    items = picture.items
    items.append(Words(24, 36, f"{called}: {name}"[:84], 19, bold=True))
    items.append(
        Words(24, 58, f"Control chart, one value a unit in the order of making: {told}", 13.5, "soft")
    )
    _key(items)
    units_of = [units.runs.unit[int(units.ohms.at[place])] for place in one.places.tolist()]
    values, moves = chart.value, chart.moves
    lines = ((chart.upper, "limit"), (chart.mean, "mean"), (max(chart.lower, 0.0), "limit"))
    marks = np.where(chart.outside, "bad", np.where(chart.sound, "good", "doubt")).tolist()
    _panel(items, 96.0, _HIGH, values.tolist(), lines, marks, units_of)
    jumped = np.where(chart.jumps, "bad", "soft").tolist()
    below = ((chart.most_move, "limit"), (chart.mean_move, "mean"))
    _panel(items, 96 + _HIGH + 40, _LOW, [float("nan"), *moves.tolist()], below, ["soft", *jumped], units_of)
    items.append(Words(_LEFT, 96 + _HIGH + 32, "moves from one unit to the next", 12, "soft"))
    bottom = 96 + _HIGH + 40 + _LOW + 24
    items.append(Words(_LEFT, bottom, units_of[0][:30], 12, "soft"))
    items.append(Words(_RIGHT, bottom, units_of[-1][:30], 12, "soft", "end"))
    return picture


def _key(items: list[Item]) -> None:
    items.append(Dot(30, 80, 4.2, "good"))
    items.append(Words(42, 84.5, "sound", 12.5))
    items.append(Dot(104, 80, 4.2, "paper", "doubt", 1.8))
    items.append(Words(116, 84.5, "not right: makes no limit", 12.5))
    items.append(_square(286, 80))
    items.append(Words(298, 84.5, "outside", 12.5))
    items.append(Polyline(((364, 80), (390, 80)), "ink", 1.6, (5, 4)))
    items.append(Words(398, 84.5, "limits: mean ± 2.66 mean moves of sound units", 12.5))


def _panel(
    items: list[Item],
    top: float,
    high: float,
    values: Sequence[float],
    lines: Sequence[tuple[float, str]],
    marks: Sequence[str],
    titles: Sequence[str],
) -> None:
    """One strip: values from left to right, its lines with their ohms, and a mark on each value."""
    known = [value for value in values if value == value] + [value for value, _ in lines]
    least, most = min(known), max(known)
    room = (most - least) * 0.08 or max(most, 1e-3) * 0.05
    least, most = least - room, most + room

    def at(number: int, value: float) -> tuple[float, float]:
        share = number / max(len(values) - 1, 1)
        return _LEFT + 8 + (_RIGHT - _LEFT - 16) * share, top + high * (most - value) / (most - least)

    items.append(Box(_LEFT, top, _RIGHT - _LEFT, high, 3, "card", "line", 1.0))
    for value, kind in lines:
        y = at(0, value)[1]
        dash = (5.0, 4.0) if kind == "limit" else ()
        items.append(
            Polyline(((_LEFT, y), (_RIGHT, y)), "ink" if dash else "soft", 1.6 if dash else 1.0, dash)
        )
        items.append(Words(_LEFT - 8, y + 4, ohms(value, 3), 12, "soft", "end"))
    points = [at(number, value) for number, value in enumerate(values) if value == value]
    items.append(Polyline(tuple(points), "line", 1.0))
    small = 4.0 if len(values) <= 150 else 2.4
    for number, (value, mark, title) in enumerate(zip(values, marks, titles, strict=True)):
        if value != value:
            continue
        x, y = at(number, value)
        if mark == "bad":
            items.append(_square(x, y, small))
        elif mark == "doubt":
            items.append(Dot(x, y, small, "paper", "doubt", 1.6, f"{title}: {ohms(value, 3)}"))
        else:
            items.append(Dot(x, y, small, mark, "card", 0.6, f"{title}: {ohms(value, 3)}"))


def _square(x: float, y: float, half: float = 4.4) -> Shape:
    corners = ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))
    return Shape(corners, "bad", "paper", 0.8)
