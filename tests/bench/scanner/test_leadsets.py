"""Lead sets: what is proposed, split and read, and which pins they go on from part to part."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

from loomtest.bench.scanner.leadsets import (
    HOUSING,
    lead_sets_text,
    proposed_lead_sets,
    read_lead_sets,
    scan_in_parts,
)
from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness


def loom(folder: Path, rows: str) -> Harness:
    (folder / "wires.csv").write_text("from,to,kind\n" + rows)
    return load_harness(folder / "wires.csv")


def many(folder: Path) -> Harness:
    rows = [f"X1:{n},X2:{n}," for n in range(1, 15)] + [f"X1:{n},X3:{n}," for n in range(15, 19)]
    return loom(folder, "\n".join([*rows, "X3:1,GND1,", "X2:1,GND2,"]) + "\n")


def test_every_pair_of_points_is_once_on_the_board_together(tmp_path: Path) -> None:
    harness = many(tmp_path)
    made = scan_in_parts(proposed_lead_sets(harness, 16), 16)
    met = {pair for part in made.parts for pair in combinations(sorted(part.sockets.points), 2)}
    assert met == set(combinations(sorted(harness.points), 2))
    assert not made.never
    for part in made.parts:
        pins = [socket.pin for socket in part.sockets.rows]
        assert len(set(pins)) == len(pins) and max(pins) <= 16


def test_what_stays_in_keeps_its_pins(tmp_path: Path) -> None:
    made = scan_in_parts(proposed_lead_sets(many(tmp_path), 16), 16)
    for before, after in zip(made.parts, made.parts[1:], strict=False):
        there = {socket.point: socket.pin for socket in before.sockets.rows}
        for socket in after.sockets.rows:
            if socket.lead_set not in after.plug_in:
                assert there[socket.point] == socket.pin
        kept = {socket.lead_set for socket in before.sockets.rows} - set(after.take_off)
        assert {s.lead_set for s in after.sockets.rows} == kept | set(after.plug_in)


def test_a_connector_larger_than_half_the_board_is_split_by_its_cavities(tmp_path: Path) -> None:
    sets = proposed_lead_sets(many(tmp_path), 16)
    ends = [one for one in sets if one.name.startswith("X1")]
    assert len(ends) > 1
    assert [point for one in ends for point in one.points] == [f"X1:{n}" for n in range(1, 19)]
    assert all(one.housings * HOUSING <= 8 for one in ends)


def test_the_file_says_what_was_proposed(tmp_path: Path) -> None:
    harness = many(tmp_path)
    sets = proposed_lead_sets(harness, 16)
    (tmp_path / "lead_sets.csv").write_text(lead_sets_text(sets))
    assert read_lead_sets(tmp_path / "lead_sets.csv", harness, 16) == sets


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("A,X1:99", "X1:9"),
        ("A,X1:1\nB,X1:1", "X1:1 again"),
        ("A,X4:1", "restraint"),
        ("A,X1:1,-1", "zero or more"),
        (",X1:1", "lead set's name"),
        ("\n".join(f"A,X1:{n}" for n in range(1, 19)), "A with 18 points; expected at most 16"),
        ("", "no rows"),
    ],
)
def test_mistakes_in_the_file_are_named(tmp_path: Path, rows: str, said: str) -> None:
    wires = "".join(f"X1:{n},X2:{n},\n" for n in range(1, 19)) + "X4:1,X5:1,restraint\n"
    text = "\n".join(row + "," * (2 - row.count(",")) for row in rows.split("\n") if row)
    (tmp_path / "lead_sets.csv").write_text("lead_set,point,lead_ohms\n" + text + "\n")
    with pytest.raises(InputError, match=said):
        read_lead_sets(tmp_path / "lead_sets.csv", loom(tmp_path, wires), 16)
