"""Two points that look the same are told, whatever makes them look so."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest

from loomtest.harness.load import load_harness
from loomtest.harness.lookalike import looks, told_apart
from tests.commands.in_process import loomtest


# Pairs of Unicode's confusables.txt (UTS #39), and of the two forms of UAX #15.
@pytest.mark.parametrize(
    ("name", "other", "said"),
    [
        ("\u04251:1", "X1:1", "cyrillic capital letter ha"),
        ("\u21691:1", "X1:1", "roman numeral ten"),
        ("\u0410B:2", "AB:2", "cyrillic capital letter a"),
        ("\u0392ATT", "BATT", "greek capital letter beta"),
        ("Cafe\u0301:1", "Caf\u00e9:1", "latin small letter e with acute"),
        ("X3:O", "X3:0", "digit zero"),
        ("X3:l", "X3:1", "digit one"),
        ("GNDI", "GND1", "digit one"),
    ],
)
def test_names_that_look_the_same_are_told_with_what_differs(
    tmp_path: Path, name: str, other: str, said: str
) -> None:
    assert looks(name) == looks(other) and name != other
    assert said in told_apart(name, other)
    (tmp_path / "wires.csv").write_text(f"from,to\n{other},Z9:2\nZ9:4,Z9:5\n{name},Z9:3\n", "utf-8")
    (found,) = [one for one in load_harness(tmp_path / "wires.csv").warnings if "looks like" in one.found]
    assert (found.line, found.column) == (4, "from") and "in line 2" in found.found and said in found.found
    done = loomtest("check", "wires.csv", cwd=tmp_path)
    assert done.returncode == 0 and "looks like" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    "names",
    [("X1:1", "X1:2"), ("X1:e", "X1:\u00e9"), ("X1:2", "X1:\u00b2"), ("Rück:1", "Ruck:1"), ("X1:i", "X2:l")],
)
def test_names_that_a_person_can_tell_apart_are_not(tmp_path: Path, names: tuple[str, str]) -> None:
    rows = "".join(f"{name},Z9:{n + 2}\n" for n, name in enumerate(names))
    (tmp_path / "wires.csv").write_text("from,to\n" + rows, "utf-8")
    assert load_harness(tmp_path / "wires.csv").warnings == ()


def test_a_connector_is_told_once_and_not_at_each_of_its_cavities(tmp_path: Path) -> None:
    rows = "".join(f"X1:{n},Z9:{n}\n\u04251:{n},Z8:{n}\n" for n in range(1, 9))
    (tmp_path / "wires.csv").write_text("from,to\n" + rows, "utf-8")
    found = [one for one in load_harness(tmp_path / "wires.csv").warnings if "looks like" in one.found]
    assert len(found) == 1 and '"\u04251"' in found[0].found


def test_a_reading_in_the_other_form_of_a_name_is_not_taken_for_another_point(tmp_path: Path) -> None:
    name = "Caf\u00e9:1"
    (tmp_path / "wires.csv").write_text(f"from,to\n{name},X2:1\n", "utf-8")
    (tmp_path / "r.csv").write_text(
        f"from,to,value\n{unicodedata.normalize('NFD', name)},X2:1,0.3\n", "utf-8"
    )
    done = loomtest("judge", "wires.csv", "r.csv", cwd=tmp_path)
    assert done.returncode == 2 and name in done.stderr
