"""A loom drawn as it lies: to scale, no branch across another, nothing covers another, places along wires."""

from __future__ import annotations

import math
import random
from itertools import combinations

import numpy as np
import pytest

from loomtest.diagnosis.verdict import Finding, Suspect, WirePlace
from loomtest.evidence.pictures import formboard
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Polyline, Way, Words
from loomtest.evidence.pictures.formboard import FormBoard, form_board
from loomtest.evidence.pictures.letters import text_width
from loomtest.evidence.pictures.loom import loom_picture
from loomtest.evidence.pictures.polylines import PlaceMark, place_at
from loomtest.harness.lie import Branch, Lie
from tests.evidence.pictures import laid

A3_LANDSCAPE_PX = (420 / 25.4 * 96, 297 / 25.4 * 96)  # ISO 216; a CSS pixel is 1/96 inch


def random_tree(seed: int) -> Lie:
    rng = random.Random(seed)
    count = rng.choice([3, 8, 20, 60, 120])
    return Lie(
        tuple(
            Branch(f"N{rng.randrange(max(0, i - 6), i)}", f"N{i}", round(rng.uniform(0.05, 1), 2))
            for i in range(1, count)
        )
    )


def crossings(lie: Lie, board: FormBoard) -> int:
    def turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    found = 0
    for one, other in combinations(lie.branches, 2):
        if {one.start, one.end} & {other.start, other.end}:
            continue
        p, q, r, s = (board.at_m[name] for name in (one.start, one.end, other.start, other.end))
        found += turn(p, q, r) * turn(p, q, s) < -1e-12 and turn(r, s, p) * turn(r, s, q) < -1e-12
    return found


@pytest.mark.parametrize("wedges", [False, True])
@pytest.mark.parametrize("seed", range(12))
def test_a_tree_is_to_scale_and_no_branch_crosses(
    seed: int, wedges: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if wedges:
        monkeypatch.setattr(formboard, "MOST_CHAINS", 0)
    lie = random_tree(seed)
    board = form_board(lie)
    for branch in lie.branches:
        assert math.dist(board.at_m[branch.start], board.at_m[branch.end]) == pytest.approx(branch.length_m)
    assert crossings(lie, board) == 0


def test_a_trunk_lies_straight() -> None:
    lie = Lie(tuple(Branch(f"J{i}", f"J{i + 1}", 0.5) for i in range(6)))
    assert len({round(y, 9) for _, y in form_board(lie).at_m.values()}) == 1


def test_coordinates_are_seen_from_where_the_loom_is_widest() -> None:
    at = {"A": (0.0, 0.0, 0.0), "B": (0.0, 2.0, 0.0), "C": (0.0, 2.0, 1.0)}  # in the plane of y and z
    board = form_board(Lie((Branch("A", "B", 2.0), Branch("B", "C", 1.0)), at))
    assert board.flattened
    for a, b in combinations(at, 2):
        assert math.dist(board.at_m[a], board.at_m[b]) == pytest.approx(math.dist(at[a], at[b]))


def test_a_ring_keeps_its_closing_branch() -> None:
    board = form_board(Lie((Branch("A", "B", 1.0), Branch("B", "C", 1.0), Branch("C", "A", 1.5))))
    assert board.closing == {2} and not board.flattened


def boxes(drawing: Drawing) -> list[tuple[float, float, float, float]]:
    """What must not be covered: frames of connectors, tags, and their words."""
    out = [(i.x, i.y, i.x + i.w, i.y + i.h) for i in drawing.items if isinstance(i, Box) and i.fill == "body"]
    out += [
        (i.x - i.r, i.y - i.r, i.x + i.r, i.y + i.r)
        for i in drawing.items
        if isinstance(i, Dot) and i.r == 14
    ]
    return out


@pytest.mark.parametrize("make", [laid.tractor, laid.ringed, laid.large])
def test_nothing_covers_another_and_all_is_on_the_sheet(make: object) -> None:
    harness = make()  # type: ignore[operator]
    drawing = loom_picture(harness)
    frames = boxes(drawing)
    hubs = {point.rpartition(":")[0] or point for point in harness.points}
    assert len(frames) == len(hubs)
    for (l1, t1, r1, b1), (l2, t2, r2, b2) in combinations(frames, 2):
        assert r1 <= l2 or r2 <= l1 or b1 <= t2 or b2 <= t1
    for item in drawing.items:
        points = (
            item.points
            if isinstance(item, Polyline | Way)
            else [(item.x, item.y)]
            if isinstance(item, Box | Dot | Words)
            else []
        )
        for x, y in points:
            assert -1 <= x <= drawing.width + 1 and -1 <= y <= drawing.height + 1
    names = {item.text for item in drawing.items if isinstance(item, Words) and item.bold}
    assert hubs <= names


def test_133_connectors_go_on_one_a3_sheet() -> None:
    drawing = loom_picture(laid.large())
    assert drawing.width <= A3_LANDSCAPE_PX[0] and drawing.height <= A3_LANDSCAPE_PX[1]


def test_faults_stand_at_their_connectors_and_along_their_wires() -> None:
    harness = laid.tractor()
    found = [Finding("open", ("X1:2", "X3:1"), (Suspect("W2"),))]
    drawing = loom_picture(harness, found)
    (route,) = [i for i in drawing.items if isinstance(i, Polyline) and i.stroke == "bad"]
    assert len(set(route.points)) == 4  # X1, J1, J2, X3
    assert "1 open at X1" in drawing.text
    assert any(isinstance(i, Words) and i.text == "1 open" for i in drawing.items)


def test_a_place_along_a_wire() -> None:
    harness = laid.tractor()
    board = form_board(harness.lie) if harness.lie else None
    assert board is not None and harness.lie is not None
    curves = [(board.at_m[b.start], board.at_m[b.end]) for b in harness.lie.branches]
    # W2 runs X1 -0.35- J1 -0.6- J2 -0.5- X3
    assert place_at(harness, curves, "W2", 0.35) == pytest.approx(board.at_m["J1"])
    middle = np.mean([board.at_m["J1"], board.at_m["J2"]], axis=0)
    assert place_at(harness, curves, "W2", 0.65) == pytest.approx(tuple(middle))
    assert place_at(harness, curves, "W2", 9.0) == pytest.approx(board.at_m["X3"])
    assert place_at(harness, curves, "W2", -1.0) == pytest.approx(board.at_m["X1"])
    assert place_at(harness, curves, "none", 1.0) is None
    drawing = loom_picture(harness, places=[PlaceMark("W2", 0.65, "65 cm")])
    assert [i.text for i in drawing.items if isinstance(i, Words) and i.fill == "bad"] == ["65 cm"]


@pytest.mark.parametrize(("start", "share"), [("X1:2", 0.4), ("X3:1", 0.6)])
def test_the_place_that_a_finding_tells_is_marked(start: str, share: float) -> None:
    place = WirePlace("W2", start, 0.58, (0.5, 0.66), share, (0.3, 0.5))
    drawing = loom_picture(laid.tractor(), [Finding("open", ("X1:2", "X3:1"), (Suspect("W2"),), place=place)])
    told = [i.text for i in drawing.items if isinstance(i, Words) and i.fill == "bad"]
    assert told == [f"1: 58 cm from {start[:2]}"]
    (dot,) = [i for i in drawing.items if isinstance(i, Dot) and i.stroke == "bad"]
    marked = loom_picture(laid.tractor(), places=[PlaceMark("W2", 0.58, "here")])  # 0.4 of 1.45 m
    (other,) = [i for i in marked.items if isinstance(i, Dot) and i.stroke == "bad"]
    sleeves = [next(i for i in d.items if isinstance(i, Polyline)).points[0] for d in (drawing, marked)]
    assert dot.x - sleeves[0][0] == pytest.approx(other.x - sleeves[1][0])
    assert dot.y - sleeves[0][1] == pytest.approx(other.y - sleeves[1][1])


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    harness = laid.tractor()
    drawing = loom_picture(harness)
    (told,) = [i for i in drawing.items if isinstance(i, Words) and i.text.endswith(" cm")]
    lines = [i for i in drawing.items if isinstance(i, Polyline)]
    (bar,) = [i for i in lines if i.stroke == "ink" and len(i.points) == 4]
    pixels = bar.points[2][0] - bar.points[1][0]
    sleeves = [i for i in lines if i.stroke == "sleeve"]
    a, b = sleeves[0].points  # X1 to J1, 0.35 m
    assert math.dist(a, b) / pixels == pytest.approx(0.35 / (float(told.text.split()[0]) / 100))
    assert text_width(told.text, 11) > 0
