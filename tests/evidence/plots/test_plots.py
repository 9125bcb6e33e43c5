"""The plots of before and after: every circuit, over-range included, on a logarithmic axis."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.change.change import Change, Side
from loomtest.diagnosis.change.pairs import PairChange
from loomtest.errors import InputError
from loomtest.evidence.pictures.drawing import Dot, Drawing, Polyline, Shape, Words
from loomtest.evidence.plots.plots import LEFT, OVER, RIGHT, circuits_plot, faults_plot, write_plots
from loomtest.evidence.plots.rows import MOST_ROWS, path_limits, plot_rows
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import Harness, Wire
from loomtest.readings.load import load_readings
from tests.diagnosis.change.columns import in_columns
from tests.evidence import example


def pair(start: str, end: str, before: float, after: float) -> PairChange:
    return PairChange(start, end, before, after, None, None, "better" if after < before else "worse", True)


def change(*pairs: PairChange) -> Change:
    none: tuple[()] = ()
    return Change("fail", "pass", in_columns(pairs), none, none, none, none)


def sized(*wires: tuple[str, str]) -> Harness:
    rows = tuple(Wire(f"W{i}", a, b, size_mm2=1.0, length_m=1.0 + i) for i, (a, b) in enumerate(wires))
    return Harness("sized", rows, tuple(dict.fromkeys(p for row in rows for p in (row.start, row.end))))


def test_the_limit_of_a_way_is_that_of_its_wires_together() -> None:
    harness = sized(("A", "SP"), ("SP", "B"), ("SP", "C"))
    limit = expectation_of(harness).limit_ohm
    got = path_limits(harness, [pair("A", "B", 1, 1), pair("C", "B", 1, 1), pair("A", "SP", 1, 1)])
    assert got == pytest.approx([limit[0] + limit[1], limit[1] + limit[2], limit[0]])
    unknown = replace(harness, wires=(replace(harness.wires[0], length_m=None), *harness.wires[1:]))
    assert path_limits(unknown, [pair("A", "B", 1, 1)]) == pytest.approx([1.0])


def test_each_point_of_a_circuit_stands_once_in_its_worst_pair() -> None:
    harness = sized(("A", "SP"), ("SP", "B"), ("SP", "C"))
    rows, left_out = plot_rows(
        harness, change(pair("A", "B", 0.1, 0.1), pair("A", "C", math.inf, 0.1), pair("B", "C", 0.3, 0.1))
    )
    assert [(row.pair.start, row.pair.end) for row in rows] == [("A", "C"), ("B", "C")]
    assert left_out == 0


def test_a_large_loom_keeps_its_worst_rows_and_says_how_many_are_missing() -> None:
    harness = sized(*((f"X1:{i}", f"X2:{i}") for i in range(MOST_ROWS + 30)))
    pairs = [pair(f"X1:{i}", f"X2:{i}", math.inf if i == 70 else 0.01, 0.01) for i in range(MOST_ROWS + 30)]
    rows, left_out = plot_rows(harness, change(*pairs))
    assert (len(rows), left_out) == (MOST_ROWS, 30)
    assert any(row.pair.start == "X1:70" for row in rows)
    drawing = circuits_plot(harness, change(*pairs))
    assert any(isinstance(item, Words) and item.text.startswith("30 more pairs") for item in drawing.items)


def dots(drawing: Drawing) -> list[Dot]:
    return [item for item in drawing.items if isinstance(item, Dot) and item.y > 100]


def test_decades_are_equally_far_apart_and_over_range_is_shown_as_such() -> None:
    harness = sized(*((f"X1:{i}", f"X2:{i}") for i in range(3)))
    wide = replace(harness, limits=replace(harness.limits, continuity_ohms=50.0))
    wide = replace(wide, wires=tuple(replace(wire, length_m=None) for wire in wide.wires))
    drawing = circuits_plot(
        wide,
        change(
            pair("X1:0", "X2:0", 9, 0.001), pair("X1:1", "X2:1", 9, 0.01), pair("X1:2", "X2:2", math.inf, 0.1)
        ),
    )
    x = [dot.x for dot in dots(drawing)]
    assert x[1] - x[0] == pytest.approx(x[2] - x[1])
    assert LEFT <= x[0] < x[2] < RIGHT < OVER
    tiles = [
        item for item in drawing.items if isinstance(item, Shape) and item.fill == "card" and item.stroke
    ]
    assert max(np.mean([p[0] for p in tile.points]) for tile in tiles) == pytest.approx(OVER)
    assert "over-range before, 0.1 Ω after, limit 50 Ω" in drawing.text


def test_above_its_limit_is_another_shape_and_stands_right_of_the_mark() -> None:
    harness = sized(("X1:1", "X2:1"))
    drawing = circuits_plot(harness, change(pair("X1:1", "X2:1", 0.01, 0.5)))
    assert not dots(drawing)
    squares = [
        item
        for item in drawing.items
        if isinstance(item, Shape) and item.fill == "bad" and len(item.points) == 4
    ]
    limit = [
        i for i in drawing.items if isinstance(i, Polyline) and i.stroke == "ink" and i.points[0][1] > 100
    ]
    assert len(limit) == 1
    assert min(p[0] for p in squares[-1].points) > limit[0].points[0][0]


def test_every_fault_stands_with_what_became_of_it() -> None:
    harness = example.tractor()
    verdict = example.verdict(harness)
    crossed, opened, poor, short = example.FINDINGS
    told = Change("fail", "fail", in_columns(()), (crossed,), (opened,), (short,), (poor,))
    drawing = faults_plot(harness, told, verdict, verdict)
    words = [item.text for item in drawing.items if isinstance(item, Words)]
    for word in ("gone", "still there", "new", "not shown gone"):
        assert words.count(word) == 1
    assert (
        words.index("new") < words.index("still there") < words.index("not shown gone") < words.index("gone")
    )
    assert "crossed at X2:3 and X2:4: gone" in drawing.text


def test_no_fault_in_either_run_is_said() -> None:
    harness = example.tractor()
    none = replace(example.verdict(harness), verdict="pass", findings=(), undecided=())
    drawing = faults_plot(harness, change(), none, none)
    assert "No fault in either run." in [item.text for item in drawing.items if isinstance(item, Words)]


def test_plots_are_written_as_png_and_svg_the_same_every_time(tmp_path: Path) -> None:
    harness = example.tractor()
    side = Side(load_readings(example.TRACTOR / "1_before", harness), example.verdict(harness))
    told = change(pair("X1:3", "SOL", math.inf, 0.01))
    paths = write_plots(harness, told, side, side, tmp_path / "a")
    assert [p.name for p in paths] == ["circuits.png", "circuits.svg", "faults.png", "faults.svg"]
    again = write_plots(harness, told, side, side, tmp_path / "b")
    assert [p.read_bytes() for p in paths] == [p.read_bytes() for p in again]
    with pytest.raises(InputError, match="expected a folder"):
        write_plots(harness, told, side, side, paths[0])
