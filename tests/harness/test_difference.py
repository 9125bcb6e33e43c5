"""What `check --against` finds between two wire lists."""

from __future__ import annotations

from dataclasses import replace

from loomtest.harness.difference import difference
from loomtest.harness.model import Harness, Wire


def loom(*wires: Wire) -> Harness:
    points = tuple(dict.fromkeys(p for w in wires for p in (w.start, w.end)))
    return Harness("invented", tuple(replace(w, row=i + 2) for i, w in enumerate(wires)), points)


A = Wire("A", "X1:1", "X2:1", colour="RD", size_mm2=1.0)
B = Wire("B", "X1:2", "X2:2", colour="BU", size_mm2=1.0)
C = Wire("C", "X1:3", "X2:3", circuit="horn")


def test_nothing() -> None:
    found = difference(loom(A, B), loom(B, A))
    assert (found.added, found.removed, found.changed, found.same) == ((), (), (), 2)


def test_added_removed_and_changed() -> None:
    thicker = replace(B, size_mm2=2.5, end="GND1")
    found = difference(loom(A, B), loom(thicker, C))
    assert [wire.name for wire in found.added] == ["C"]
    assert [wire.name for wire in found.removed] == ["A"]
    (change,) = found.changed
    assert change.wire.name == "B"
    assert change.fields == (("to", "X2:2", "GND1"), ("size_mm2", 1.0, 2.5))
    assert found.same == 0


def test_two_named_wires_that_changed_places_are_two_changes() -> None:
    found = difference(loom(A, B), loom(replace(A, start="X1:2"), replace(B, start="X1:1")))
    assert [(c.wire.name, c.fields) for c in found.changed] == [
        ("A", (("from", "X1:1", "X1:2"),)),
        ("B", (("from", "X1:2", "X1:1"),)),
    ]


def test_spelling_and_direction_are_no_change() -> None:
    turned = replace(A, start=A.end, end=A.start, colour="red", note="turned")
    assert difference(loom(A), loom(turned)).same == 1
    diode = replace(A, kind="diode", colour="")
    (change,) = difference(loom(diode), loom(replace(diode, start=A.end, end=A.start))).changed
    assert [field[0] for field in change.fields] == ["from", "to"]


def test_a_row_put_in_before_others_without_names_is_one_addition() -> None:
    rows = [replace(w, named=False) for w in (A, B, C)]
    old = loom(*(replace(w, name=f"W{i + 1}") for i, w in enumerate(rows)))
    new_row = Wire("", "X1:9", "GND1", named=False)
    new = loom(*(replace(w, name=f"W{i + 1}") for i, w in enumerate([new_row, *rows])))
    found = difference(old, new)
    assert [(w.start, w.end) for w in found.added] == [("X1:9", "GND1")]
    assert (found.removed, found.changed, found.same) == ((), (), 3)


def test_two_rows_between_the_same_points_are_told_apart_by_number() -> None:
    twin = replace(A, named=False, name="W1")
    found = difference(loom(twin), loom(twin, replace(twin, name="W2")))
    assert (len(found.added), found.same) == (1, 1)


def test_a_wire_is_followed_across_a_connector_change() -> None:
    old = loom(replace(A, named=False, name="W1"))
    moved = replace(A, name="W1", start="X1N:4", extra=(("was_from", "X1:1"), ("was_to", "")))
    (change,) = difference(old, loom(moved)).changed
    assert change.fields == (("from", "X1:1", "X1N:4"),)


def test_a_wire_of_another_name_between_the_same_points_is_another_wire() -> None:
    found = difference(loom(A), loom(replace(A, name="Z")))
    assert [wire.name for wire in found.added] == ["Z"]
    assert [wire.name for wire in found.removed] == ["A"]
