"""A fuse above the lines of its circuit: those that begin with a colour begin at the fuse.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from tests.harness.notes.once import read_once as read_notes


def wires(text: str) -> list[str]:
    return [wire.words.casefold() for wire in read_notes(text).wires]


ROWS = ("{}orange to fan switch 1\n", "{}fan switch 2 orange/white to fan +\n")


@pytest.mark.parametrize(
    ("title", "fuse"),
    [
        ("FUSE 5  15A  FAN", "fuse_5"), ("F5 - fan 15A", "f5"), ("Fuse 5 (15 A):", "fuse_5"),
        ("Breaker 4 = fan, 15A", "breaker_4"), ("CB2 10 amp fan", "cb2"), ("fuse no 5, 15a, fan", "fuse:5"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("lead", ["", "  ", "- ", "* "])
def test_a_line_that_begins_with_a_colour_begins_at_the_fuse_above_it(
    title: str, fuse: str, lead: str
) -> None:
    page = f"Fishing launch, from the fuses on\n{title}\n" + "".join(row.format(lead) for row in ROWS)
    assert wires(page) == [f"{fuse} orange to fan_switch:1", "fan_switch:2 orange/white to fan:+"]


def test_the_fuse_holds_to_the_next_title_and_for_its_own_lines_alone() -> None:
    page = "FUSE 5 15A FAN\n  orange to fan switch 1\nFUSE 6 SPARE\nFUSE 7 5A RADIO\n  grey to radio +\n"
    assert wires(page) == ["fuse_5 orange to fan_switch:1", "fuse_7 grey to radio:+"]
    page = "FUSE 5 15A FAN\n  orange to fan switch 1\n\ngrey to radio +\n"
    assert wires(page) == ["fuse_5 orange to fan_switch:1"]
    page = "FUSE 5 15A FAN\n  orange to fan switch 1\ngrey to radio +\n"  # further to the left
    assert wires(page) == ["fuse_5 orange to fan_switch:1"]
