"""Points that are joined among themselves run from each to the next: common practice, invented scenes."""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


@pytest.mark.parametrize(
    ("line", "points"),
    [
        ("TB1-1 thru TB1-4 strapped, 3 metal jumpers", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("Terminals 1 to 4 of TB1 bridged", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("TB1 1-4 commoned", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("TB1: 1, 2, 3 and 4 linked", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("TB1 1, 2, 3, 4 all jumpered together, red", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("TB1 1 looped to 2, 2 to 3 and 3 to 4", "TB1:1 TB1:2 TB1:3 TB1:4"),
        ("block 1 is looped to 2, 2 to 3 and 3 to 4", "block:1 block:2 block:3 block:4"),
        ("a link between TB1 5 and TB1 6", "TB1:5 TB1:6"),
        ("short links between 5 and 6 on TB1", "TB1:5 TB1:6"),
        ("strap across pump switch 1 and lamp switch 2", "pump_switch:1 lamp_switch:2"),
        ("meter neg, pump neg, frame, jumped one to the next", "meter:- pump:- frame"),
        ("fuse 1 in, fuse 2 in, fuse 3 in daisy chained, red", "fuse_1:in fuse_2:in fuse_3:in"),
    ],
)
def test_points_joined_among_themselves(line: str, points: str) -> None:
    run = points.split()
    pairs = [(wire.start, wire.end) for wire in read_notes(line).wires]
    assert pairs == [(run[n], run[n + 1]) for n in range(len(run) - 1)]


def test_cavities_of_a_device_take_its_name() -> None:
    def wires(text: str) -> list[str]:
        return [wire.words for wire in read_notes(text).wires]

    assert wires("pins 3 and 4 of X2 to frame, black") == ["X2:3 black to frame", "X2:4 black to frame"]
    assert wires("frame to terminals 1, 2 on the heater relay") == [
        "frame to heater_relay:1", "frame to heater_relay:2",
    ]  # fmt: skip
    assert wires("ways 1-3 on X7 to frame") == [f"X7:{n} to frame" for n in "123"]


def test_a_number_before_points_of_other_devices_is_none_of_them() -> None:
    assert read_notes("#10 meter neg, pump neg, jumped one to the next").wires == ()
