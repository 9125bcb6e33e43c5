"""The lie of a loom: what branches.csv may say, every mistake with its place, and the shortest ways."""

from __future__ import annotations

import itertools
import random
import re
import textwrap
from pathlib import Path

import networkx as nx
import pytest

from loomtest.errors import InputError
from loomtest.harness.lie import Branch, Lie
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings.runfile import harness_copies, harness_digest

WIRES = "from,to,wire,length\nX1:1,X2:1,W1,\nX1:2,GND1,W2,0.5\nX2:2,GND1,W3,\nX1:3,X1:4,W4,\n"
BRANCHES = "from,to,length\nX1,J1,0.4\nJ1,X2,80 cm\nJ1,GND1,0.25\n"


def folder(path: Path, branches: str, wires: str = WIRES, toml: str | None = None) -> Path:
    (path / "wires.csv").write_text(wires, encoding="utf-8")
    (path / "branches.csv").write_text(branches, encoding="utf-8")
    if toml is not None:
        (path / "harness.toml").write_text(toml, encoding="utf-8")
    return path


def load(path: Path, branches: str, wires: str = WIRES) -> Harness:
    return load_harness(folder(path, branches, wires))


def said(harness: Harness) -> list[str]:
    return [str(problem) for problem in harness.warnings]


def wrong(path: Path, branches: str) -> list[tuple[int | None, str, str, str]]:
    with pytest.raises(InputError) as caught:
        load(path, branches)
    return [(p.line, p.column, p.found, p.expected) for p in caught.value.problems if p.severity == "error"]


def test_lengths_come_from_the_way_where_the_list_has_none(tmp_path: Path) -> None:
    loom = load(tmp_path, BRANCHES)
    assert [wire.length_m for wire in loom.wires] == [pytest.approx(1.2), 0.5, pytest.approx(1.05), None]
    assert loom.ways[0] is not None and loom.ways[0].nodes == ("X1", "J1", "X2")
    assert loom.ways[3] is not None and loom.ways[3].branches == ()  # from cavity to cavity of one connector
    assert (
        said(loom) == []
    )  # 0.5 m along 0.65 m is no slip: people cut with a little to spare, and measure so


def test_a_stated_length_far_from_the_way_is_said(tmp_path: Path) -> None:
    loom = load(tmp_path, BRANCHES, WIRES.replace(",0.5\n", ",5\n"))
    assert loom.wires[1].length_m == 5  # what the list says stands
    assert said(loom) == [
        f"{tmp_path / 'wires.csv'}, line 3, length: found 5 m for wire W2; "
        "expected about 0.65 m, the way along branches.csv"
    ]


def test_a_branch_without_a_length_gives_no_lengths_and_a_way_all_the_same(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to,length\nX1,J1,\nJ1,X2,0.8\nJ1,GND1,0.25\n")
    assert [wire.length_m for wire in loom.wires] == [None, 0.5, pytest.approx(1.05), None]
    assert loom.ways[0] is not None and loom.ways[0].nodes == ("X1", "J1", "X2")


def test_every_mistake_has_its_line_and_column(tmp_path: Path) -> None:
    bad = (
        "from,to,length,x,y\nX1,J1,long,,\nJ1,J1,1,,\n,X2,1,,\nJ1,,1,,\nJ1,X2,0.5,1,2\n"
        "J1,,,1,\nX2,,,1 m,-20 cm\nX2,,,0,0\na:b:c,X2,1,,\n"
    )
    assert [found[:2] for found in wrong(tmp_path, bad)] == [
        (2, "length"),
        (3, "to"),
        (4, "from"),
        (5, "to"),
        (6, "x"),
        (7, "y"),
        (9, "from"),
        (10, "from"),
    ]


def test_a_missing_column_names_the_nearest(tmp_path: Path) -> None:
    ((line, column, _, expected),) = wrong(tmp_path, "from,too,length\nX1,X2,1\n")
    assert (line, column) == (1, "to") and '"too"' in expected


def test_slips_draw_warnings(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to,length\nx1,J1,0.4\nJ1,X2,0.8\nJ1,X2,0.9\nJ2,GND1,0.2\n")
    told = "\n".join(said(loom))
    assert 'line 2, from: found "x1"; expected X1' in told
    assert "line 4, to: found a second branch" in told
    assert "2 pieces that do not hang together" in told
    assert 'no branch to "X1"' in told
    assert 'a branch that ends at "J2"' in told


def test_places_are_read_in_any_unit_and_either_sign(tmp_path: Path) -> None:
    loom = load(tmp_path, "from,to,length,x,y,z\nX1,J1,,,,\nJ1,X2,,,,\nX1,,,0,-120 mm,\nX2,,,1.5,0,5 cm\n")
    assert loom.lie is not None
    assert loom.lie.at_m == {"X1": (0.0, -0.12, 0.0), "X2": (1.5, 0.0, 0.05)}


def test_a_bare_wire_list_takes_no_branches(tmp_path: Path) -> None:
    assert load_harness(folder(tmp_path, BRANCHES) / "wires.csv").lie is None
    assert load_harness(tmp_path).lie is not None


@pytest.mark.parametrize("toml", [None, 'name = "launch"\n'])
def test_a_copy_of_the_files_loads_again_with_the_same_lie(tmp_path: Path, toml: str | None) -> None:
    (tmp_path / "loom").mkdir()
    loom = load_harness(folder(tmp_path / "loom", BRANCHES, toml=toml))
    (tmp_path / "copy").mkdir()
    for name, data in harness_copies(loom).items():
        (tmp_path / "copy" / name).write_bytes(data)
    again = load_harness(tmp_path / "copy")
    assert again.lie is not None and loom.lie is not None
    assert (again.wires, again.lie.branches) == (loom.wires, loom.lie.branches)
    assert harness_digest(again) == harness_digest(loom)


@pytest.mark.parametrize("seed", range(12))
def test_the_shortest_ways_are_those_of_networkx(seed: int) -> None:
    rng = random.Random(seed)
    names = [f"N{i}" for i in range(rng.randint(2, 14))]
    pairs = [pair for pair in itertools.combinations(names, 2) if rng.random() < 0.35]
    branches = tuple(Branch(a, b, round(rng.uniform(0.05, 2), 3)) for a, b in pairs for _ in range(2))
    graph = nx.Graph()
    for branch in branches:
        old = graph.get_edge_data(branch.start, branch.end, {"weight": 9.0})["weight"]
        graph.add_edge(branch.start, branch.end, weight=min(old, branch.length_m or 0.0))
    ends = [(a, b) for a in names for b in names]
    lie = Lie(branches)
    for (a, b), way in zip(ends, lie.courses(ends), strict=True):
        joined = a in graph and b in graph and nx.has_path(graph, a, b)
        assert (way is not None) == joined
        if way is not None:
            assert (way.nodes[0], way.nodes[-1]) == (a, b)
            length = lie.length_m(way)
            assert length == pytest.approx(nx.dijkstra_path_length(graph, a, b))


def test_the_examples_of_the_documents_are_read(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "branches.md").read_text(encoding="utf-8")
    blocks = re.findall(r"(?:^    .*\n)+", page, re.MULTILINE)
    lines, placed = (textwrap.dedent(block) for block in blocks if block.lstrip().startswith("from,to"))
    loom = load(tmp_path, lines, "from,to\nX1:1,X2:1\nX3:1,GND1\n")
    assert said(loom) == []
    assert [wire.length_m for wire in loom.wires] == [pytest.approx(1.55), pytest.approx(1.55)]
    loom = load(tmp_path, placed, "from,to\nX1:1,J1\n")
    assert loom.lie is not None and loom.lie.at_m["J1"] == (0.38, 0.05, 0.12)
