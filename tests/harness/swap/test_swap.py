"""A connector changed for another: what comes out, and what is refused. The loom is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomtest.errors import InputError, Problem
from loomtest.harness.load import load_harness
from loomtest.harness.model import Face, Harness
from loomtest.harness.origin import former_points, harness_before, present_points
from loomtest.harness.swap.files import wire_list_text, write_harness
from loomtest.harness.swap.map import read_map
from loomtest.harness.swap.swap import Swapped, swap

WIRES = """# invented: the helm of a fishing launch
wire,from,to,colour,size,length,amps,circuit,photo
W1,X5:1,X1:1,RD,2.5,1.8,5,bilge pump,a.jpg
W2,X5:2,X1:2,black/white,1.5,1.8,2,nav lights,
W3,X1:3,X5:3,BN,1.5,1.9,1,echo sounder,
W4,X5:4,GND1,BK,2.5,1.2,8,helm ground,
W5,X5:5,X1:4,BU,1,1.8,0.5,horn relay,
W6,GND1,X2:1,BK,2.5,0.6,,helm ground,
"""
TOML = """# invented
name = "Fishing launch, helm loom"  # this comment stays
unreachable = ["X5:3"]

[cavities]
X5 = 6
X5N = 8
X1 = 4

[faces]
X5N = {rows = 2, numbering = "across"}

[places]
X5 = "under the wheel"
"""
ALL = "old,new\nX5:1,X5N:3\nX5:2,X5N:1\nX5:3,X5N:2\nX5:4,X5N:8\nX5:5,X5N:4\n"


def harness(folder: Path, wires: str = WIRES, toml: str | None = TOML) -> Harness:
    (folder / "wires.csv").write_text(wires, encoding="utf-8")
    if toml is not None:
        (folder / "harness.toml").write_text(toml, encoding="utf-8")
    return load_harness(folder)


def chart(folder: Path, text: str) -> Path:
    path = folder / "map.csv"
    path.write_text(text, encoding="utf-8")
    return path


def swapped(folder: Path, text: str, loom: Harness | None = None, connector: str = "") -> Swapped:
    before = loom or harness(folder)
    return swap(before, read_map(chart(folder, text), before, connector))


def refused(folder: Path, text: str, loom: Harness | None = None, connector: str = "") -> list[Problem]:
    with pytest.raises(InputError) as caught:
        swapped(folder, text, loom, connector)
    return list(caught.value.problems)


def ends(loom: Harness) -> dict[str, tuple[str, str]]:
    return {wire.name: (wire.start, wire.end) for wire in loom.wires}


def test_the_wires_are_where_the_map_says(tmp_path: Path) -> None:
    found = swapped(tmp_path, ALL)
    assert ends(found.harness) == {
        "W1": ("X5N:3", "X1:1"),
        "W2": ("X5N:1", "X1:2"),
        "W3": ("X1:3", "X5N:2"),
        "W4": ("X5N:8", "GND1"),
        "W5": ("X5N:4", "X1:4"),
        "W6": ("GND1", "X2:1"),
    }
    assert [(m.wire.name, m.column, m.old, m.new) for m in found.moves] == [
        ("W2", "from", "X5:2", "X5N:1"),
        ("W3", "to", "X5:3", "X5N:2"),
        ("W1", "from", "X5:1", "X5N:3"),
        ("W5", "from", "X5:5", "X5N:4"),
        ("W4", "from", "X5:4", "X5N:8"),
    ]
    assert found.old_connectors == ("X5",)
    assert found.unused == found.joined == found.parted == found.notes == ()


def test_the_nets_are_the_same_under_new_names(tmp_path: Path) -> None:
    before = harness(tmp_path)
    after = swapped(tmp_path, ALL, before).harness
    new = {"X5:1": "X5N:3", "X5:2": "X5N:1", "X5:3": "X5N:2", "X5:4": "X5N:8", "X5:5": "X5N:4"}

    def nets(loom: Harness, names: dict[str, str]) -> set[frozenset[str]]:
        joined = (net for net in loom.nets if net.conductors)
        return {frozenset(names.get(loom.points[c], loom.points[c]) for c in net.points) for net in joined}

    assert nets(before, new) == nets(after, {})


def test_what_goes_with_the_connector(tmp_path: Path) -> None:
    after = swapped(tmp_path, ALL).harness
    assert after.places == {"X5N": "under the wheel"}
    assert after.unreachable == {"X5N:2"}
    assert after.worked_on == {"X5N"}
    assert after.faces == {"X5N": Face(2, "across")}
    assert after.cavities == {"X5N": tuple("12345678"), "X1": tuple("1234")}
    assert not any(point.startswith("X5:") for point in after.points)


@pytest.mark.parametrize(
    "text",
    [
        "colour,new\nred,X5N:3\nBKWH,X5N:1\nbrown,X5N:2\nblack,X5N:8\nBU,X5N:4\n",
        "new,color\nX5N:3,RD\nX5N:1,black with white stripe\nX5N:2,BN\nX5N:8,BK\nX5N:4,blue\n",
        "old,colour,new\n-X5:1,,X5N:3\n,BK/WH,X5N:1\nX5:3,brown,X5N:2\n,BK,X5N:8\nX5:5,,X5N:4\n",
        "old;new\nX5:1;X5N:3\nX5:2;X5N:1\nX5:3;X5N:2\nX5:4;X5N:8\nX5:5;X5N:4\n",
    ],
)
def test_a_notepad_says_the_same_as_cavities(tmp_path: Path, text: str) -> None:
    loom = harness(tmp_path)
    assert ends(swapped(tmp_path, text, loom).harness) == ends(swapped(tmp_path, ALL, loom).harness)


def test_the_new_folder_is_a_harness_that_remembers(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    before = harness(tmp_path / "old")
    found = swapped(tmp_path, ALL, before)
    out = tmp_path / "made" / "new"
    write_harness(before, found, tmp_path / "map.csv", out, {"card.txt": "a card\n"})
    after = load_harness(out)
    assert after.name == before.name
    assert ends(after) == ends(found.harness)
    assert after.points == found.harness.points
    assert after.unreachable == {"X5N:2"} and after.worked_on == {"X5N"}
    assert after.cavities == found.harness.cavities and after.places == found.harness.places
    assert former_points(after) == {
        "X5N:3": ("X5:1",), "X5N:1": ("X5:2",), "X5N:2": ("X5:3",), "X5N:8": ("X5:4",), "X5N:4": ("X5:5",)
    }  # fmt: skip
    assert present_points(after)["X5:2"] == "X5N:1"
    assert dict(after.wires[0].extra)["photo"] == "a.jpg"
    assert (out / "wires.csv").read_text(encoding="utf-8").startswith("# invented: the helm")
    toml = (out / "harness.toml").read_text(encoding="utf-8")
    assert "# this comment stays" in toml
    assert (out / "connector_map.csv").read_text(encoding="utf-8") == ALL
    assert (out / "card.txt").read_text(encoding="utf-8") == "a card\n"
    older = harness_before(after)
    assert older is not None and ends(older) == ends(before) and older.points == before.points
    assert [path.name for path in (tmp_path / "made").iterdir()] == ["new"]  # nothing half-made beside it


def test_the_old_harness_is_not_touched(tmp_path: Path) -> None:
    before = harness(tmp_path)
    found = swapped(tmp_path, ALL, before)
    write_harness(before, found, tmp_path / "map.csv", tmp_path / "new", {})
    assert (tmp_path / "wires.csv").read_text(encoding="utf-8") == WIRES
    assert (tmp_path / "harness.toml").read_text(encoding="utf-8") == TOML


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    before = harness(tmp_path)
    found = swapped(tmp_path, ALL, before)
    out = tmp_path / "new"
    out.mkdir()
    write_harness(before, found, tmp_path / "map.csv", out, {})  # an empty one will do
    listing = sorted(out.iterdir())
    with pytest.raises(InputError, match="holds something"):
        write_harness(before, found, tmp_path / "map.csv", out, {})
    assert sorted(out.iterdir()) == listing


def test_a_list_without_names_keeps_those_of_its_rows(tmp_path: Path) -> None:
    wires = "from;to;length\nX5:1;X1:1;0,5\nX5:2;X1:2;0,6\nX5:3;X1:3;0,7\n"
    before = harness(tmp_path, wires, None)
    found = swapped(tmp_path, "old,new\nX5:1,unused\nX5:2,Y:1\nX5:3,Y:2\n", before)
    text = wire_list_text(before, found)
    assert text == ("from;to;length;wire;was_from;was_to\nY:1;X1:2;0,6;W2;X5:2;\nY:2;X1:3;0,7;W3;X5:3;\n")


def test_a_wire_list_alone_gets_a_folder_that_loads(tmp_path: Path) -> None:
    path = tmp_path / "helm.csv"
    path.write_text("from,to\nX5:1,X1:1\n", encoding="utf-8")
    before = load_harness(path)
    found = swap(before, read_map(chart(tmp_path, "old,new\nX5:1,Y:2\n"), before), {"Y": ("1", "2")})
    write_harness(before, found, tmp_path / "map.csv", tmp_path / "new", {})
    after = load_harness(tmp_path / "new")
    assert (after.name, after.points, after.warnings) == ("helm", ("Y:2", "X1:1", "Y:1"), ())
    older = harness_before(after)
    assert older is not None and (older.name, older.points) == ("helm", ("X5:1", "X1:1"))


def test_a_second_change_keeps_what_the_first_one_says(tmp_path: Path) -> None:
    first = swapped(tmp_path, ALL).harness
    again = chart(tmp_path, "old,new\nX1:1,X1N:4\nX1:2,X1N:3\nX1:3,X1N:2\nX1:4,X1N:1\n")
    second = swap(first, read_map(again, first)).harness
    assert former_points(second)["X5N:3"] == ("X5:1",)
    assert former_points(second)["X1N:4"] == ("X1:1",)
    third = swap(second, read_map(chart(tmp_path, "old,new\nX2:1,Z:1\n"), second)).harness
    assert ends(third)["W6"] == ("GND1", "Z:1")


def test_a_wire_given_up_leaves_its_far_end_as_an_empty_cavity(tmp_path: Path) -> None:
    wires = WIRES.replace("X1:", "X9:")  # X9 is declared nowhere
    found = swapped(
        tmp_path,
        ALL.replace("X5:5,X5N:4", "X5:5,unused"),
        harness(tmp_path, wires, TOML.replace("X1 = 4\n", "")),
    )
    assert [(m.wire.name, m.old) for m in found.unused] == [("W5", "X5:5")]
    assert "W5" not in ends(found.harness)
    assert "X9:4" in found.harness.points  # a stub under the tape may still end there
    assert found.harness.cavities["X9"] == ("1", "2", "3", "4")


def test_parts_move_with_their_cavities(tmp_path: Path) -> None:
    loom = harness(tmp_path, WIRES + "L1,X5:1,X5:4,,,,,,\n")
    assert ends(swapped(tmp_path, ALL, loom).harness)["L1"] == ("X5N:3", "X5N:8")


def test_to_a_ground_ring_and_to_a_splice(tmp_path: Path) -> None:
    text = ALL.replace("X5N:8", "GND7").replace("X5N:4", "SP1")
    found = ends(swapped(tmp_path, text).harness)
    assert (found["W4"], found["W5"]) == (("GND7", "GND1"), ("SP1", "X1:4"))


# What is refused ---------------------------------------------------------------------------------------


def test_two_old_cavities_into_one_new_one(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL.replace("X5:5,X5N:4", "X5:5,X5N:3"))
    assert (found.line, found.column) == (6, "new")
    assert found.found == "X5N:3 for X5:1 (line 2) and X5:5 (line 6)"
    assert "splice" in found.expected


def test_unless_marked_as_a_splice_and_then_it_is_said(tmp_path: Path) -> None:
    text = "old,new,mark\nX5:1,X5N:3,\nX5:2,X5N:1,\nX5:3,X5N:2,\nX5:4,X5N:8,\nX5:5,X5N:3,splice\n"
    found = swapped(tmp_path, text)
    assert ends(found.harness)["W5"][0] == ends(found.harness)["W1"][0] == "X5N:3"
    (said,) = found.joined
    assert "bilge pump" in said and "horn relay" in said


def test_a_splice_within_one_net_joins_nothing_new(tmp_path: Path) -> None:
    loom = harness(tmp_path, WIRES + "W7,X5:6,GND1,BK,1,1,,,\n")
    rows = ALL.replace("\nX5", "\n,X5").replace("old,new", "mark,old,new") + "splice,X5:6,X5N:8\n"
    found = swapped(tmp_path, rows, loom)
    assert found.joined == ()
    assert ends(found.harness)["W7"] == ends(found.harness)["W4"] == ("X5N:8", "GND1")


def test_a_cavity_left_out(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL.replace("X5:5,X5N:4\n", ""))
    assert "X5:5 (BU W5)" in found.found
    assert "X5:5,unused" in found.expected


def test_a_cavity_that_the_new_connector_does_not_have(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL.replace("X5N:8", "X5N:9"))
    assert (found.line, found.column, found.found) == (5, "new", '"X5N:9"')
    assert "1, 2, 3, 4, 5, 6, 7, 8" in found.expected


def test_a_new_connector_that_nothing_describes_is_said(tmp_path: Path) -> None:
    found = swapped(tmp_path, ALL.replace("X5N", "X8"))
    (note,) = found.notes
    assert note.startswith("How many cavities X8 has is not known")


def test_a_cavity_where_another_wire_stays(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL.replace("X5N:8", "X2:1"))
    assert found.line == 5
    assert "X2:1, where W6 already ends" in found.found


def test_one_old_cavity_in_two_rows(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL + "X5:1,X5N:5\n")
    assert (found.line, found.found) == (7, "X5:1, which line 2 moves too")


DOUBLE = WIRES + "W7,X5:1,X2:2,RDWH,1,1,,bilge pump,\n"  # two wires in the terminal of X5:1


def test_a_map_that_parts_a_net(tmp_path: Path) -> None:
    text = (
        "old,colour,new,mark\nX5:1,RD,X5N:3,\nX5:1,RDWH,X5N:5,\n"
        "X5:2,,X5N:1,\nX5:3,,X5N:2,\nX5:4,,X5N:8,\nX5:5,,X5N:4,\n"
    )
    loom = harness(tmp_path, DOUBLE)
    (found,) = refused(tmp_path, text, loom)
    assert found.found.startswith('a map that parts "bilge pump" into 2 parts')
    allowed = swapped(tmp_path, text.replace("X5N:5,", "X5N:5,split"), loom)
    assert len(allowed.parted) == 1
    assert ends(allowed.harness)["W7"] == ("X5N:5", "X2:2")
    present = present_points(allowed.harness)
    assert "X5:1" not in present and present["X5:2"] == "X5N:1"  # nobody can say which of the two it is now


def test_giving_up_a_cavity_through_which_two_wires_meet_parts_a_net(tmp_path: Path) -> None:
    (found,) = refused(tmp_path, ALL.replace("X5:1,X5N:3", "X5:1,unused"), harness(tmp_path, DOUBLE))
    assert 'parts "bilge pump"' in found.found and "X1:1" in found.found and "X2:2" in found.found


def test_two_wires_of_one_terminal_go_together(tmp_path: Path) -> None:
    found = swapped(tmp_path, ALL, harness(tmp_path, DOUBLE))
    assert ends(found.harness)["W7"] == ("X5N:3", "X2:2")
    assert found.joined == found.parted == ()


def test_half_of_a_double_terminal_left_out(tmp_path: Path) -> None:
    text = "old,colour,new\nX5:1,RD,X5N:3\nX5:2,,X5N:1\nX5:3,,X5N:2\nX5:4,,X5N:8\nX5:5,,X5N:4\n"
    problems = refused(tmp_path, text, harness(tmp_path, DOUBLE))
    assert any("no row for X5:1 (RDWH W7)" in problem.found for problem in problems)


def test_both_ends_of_a_wire_in_one_cavity(tmp_path: Path) -> None:
    wires = WIRES + "W7,X5:6,X5:1,RD,1,1,,bilge pump,\n"
    text = ALL.replace("\nX5", "\n,X5").replace("old,new", "mark,old,new") + "splice,X5:6,X5N:3\n"
    (found,) = refused(tmp_path, text, harness(tmp_path, wires))
    assert 'both ends of "W7" in X5N:3' in found.found


def test_keeping_the_name_with_other_numbers_is_allowed_and_said(tmp_path: Path) -> None:
    found = swapped(tmp_path, "old,new\nX5:1,X5:2\nX5:2,X5:1\nX5:3,X5:3\nX5:4,X5:4\nX5:5,X5:5\n")
    assert ends(found.harness)["W1"][0] == "X5:2" and ends(found.harness)["W2"][0] == "X5:1"
    assert {m.wire.name for m in found.moves} == {"W1", "W2"}
    (note,) = found.notes
    assert "X5 keeps its name" in note


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("old,knew\nX5:1,X5N:1\n", 1, "new", '"knew"'),
        ("new\nX5N:1\n", 1, "old", "or colour"),
        ("old,new\nX5:7,X5N:1\n", 2, "old", "X5:5"),
        ("old,new\nX5:1,\n", 2, "new", "unused"),
        ("old,new\n,X5N:1\n", 2, "old", "the old cavity"),
        ("old,new\nX5:1,X5N\u202e:1\n", 2, "new", "visible"),
        ("old,new,mark\nX5:1,X5N:1,splise\n", 2, "mark", "nearest is splice"),
        ("old,new,mark\nX5:1,X5N:1,unused\n", 2, "new", "one of the two"),
        ("old,colour,new\nX5:1,green,X5N:1\n", 2, "colour", "the colour of the wire"),
        ("old,colour,new\nX5:1,redd,X5N:1\n", 2, "colour", "nearest is red"),
        ("colour,new\npink,X5N:1\n", 2, "colour", "--connector"),
        ("colour,new\nBK,X5N:1\n", 2, "colour", "--connector"),  # X5 and X2 have one each
        ("old,new\n", None, "", "a row for each"),
    ],
)
def test_mistakes_in_a_map(tmp_path: Path, text: str, line: int | None, column: str, words: str) -> None:
    found = refused(tmp_path, text)[0]
    assert (found.line, found.column) == (line, column)
    assert words in found.expected


def test_a_colour_that_the_connector_has_twice(tmp_path: Path) -> None:
    loom = harness(tmp_path, WIRES + "W7,X5:6,X2:2,red,1,1,,,\n")
    found = refused(tmp_path, "colour,new\nRD,X5N:3\n", loom, "X5")[0]
    assert "X5 has 2 times (W1 in X5:1, W7 in X5:6)" in found.found
    assert "a column named old" in found.expected


def test_the_connector_of_a_notepad_map_may_be_said(tmp_path: Path) -> None:
    loom = harness(tmp_path)
    found = swapped(tmp_path, "colour,new\nBK,Z:1\n", loom, "X2")
    assert ends(found.harness)["W6"] == ("GND1", "Z:1")
    assert "The colours were looked up at X2." in found.notes
    (wrong,) = refused(tmp_path, "colour,new\nBK,Z:1\n", loom, "X22")
    assert "the nearest is X2" in wrong.expected


def test_every_mistake_at_once(tmp_path: Path) -> None:
    problems = refused(tmp_path, "old,new\nX5:1,X5N:9\nX5:2,X5N:1\nX5:3,X5N:1\n")
    found = " / ".join(problem.found for problem in problems)
    for words in ("X5:4", "X5:5", '"X5N:9"', "X5N:1 for X5:2 (line 3) and X5:3 (line 4)"):
        assert words in found


def test_the_branch_of_the_old_connector_leads_to_the_new_one(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "branches.csv").write_text("from,to,length\nJ1,X5,0.4\nX1,J1,1.1\n")
    before = harness(tmp_path / "old")
    found = swapped(tmp_path, ALL, before)
    write_harness(before, found, tmp_path / "map.csv", tmp_path / "new", {})
    after = load_harness(tmp_path / "new")
    assert after.lie is not None
    assert [(b.start, b.end, b.length_m) for b in after.lie.branches] == [
        ("J1", "X5N", 0.4),
        ("X1", "J1", 1.1),
    ]
    older = harness_before(after)
    assert older is not None and older.lie is not None and "X5" in older.lie.nodes
