"""A device under a shorter name is one device where the page has one of that name with the same terminals."""

from __future__ import annotations

import pytest

from loomtest.harness.notes.result import ToLookAt
from tests.harness.notes.once import read_once as read_notes

ONE = [
    ("key switch M to magneto 1\nkey M to seat switch 1\n", "key_switch:M"),
    ("headlamp shell plug 2 to coil 1\nhorn 1 to shell plug 2\n", "headlamp_shell_plug:2"),
    ("house battery switch C to winch +\nbattery switch C to bilge fuse 1\n", "house_battery_switch:C"),
    ("distribution block 3 to fan +\nblock 3 to radio +\n", "distribution_block:3"),
    ("NS rear cluster E to frame\nplate lamp 2 to NS cluster E\n", "NS_rear_cluster:E"),
]
TWO = [
    "house battery switch C to winch +\nstart battery switch C to starter 1\nbattery switch C to fuse 1\n",
    "rear fuse box 2 to horn 1\nfuse box 9 to horn 2\n",  # cavities that the longer one does not have
    "left tail lamp 1 to fuse 1\ntail lamp 1 to fuse 2\n",  # lamps are told apart by their words
]


@pytest.mark.parametrize(("page", "point"), ONE)
def test_a_shorter_name_is_the_same_device_and_that_is_told(page: str, point: str) -> None:
    read = read_notes(page)
    ends = [end for wire in read.wires for end in (wire.start, wire.end)]
    assert ends.count(point) == 2
    assert any(look.what is ToLookAt.TAKEN_FOR for look in read.look_at)


@pytest.mark.parametrize("page", TWO)
def test_two_devices_stay_two(page: str) -> None:
    read = read_notes(page)
    assert not any(look.what is ToLookAt.TAKEN_FOR for look in read.look_at)
