"""A harness file read back to the wires that were written; and what is broken, named and left out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest

from loomtest.errors import InputError
from loomtest.harness.colours import colour_code
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness, Wire
from loomtest.readings.runfile import harness_copies, harness_digest
from tests.harness.exchange.made import Loom, Made, random_loom, written

Facts = tuple[str, str, str, str, float | None, float | None, str]


def load(folder: Path, loom: Loom, configuration: str = "", text: str | None = None) -> Harness:
    path = folder / "loom.kbl"
    path.write_text(written(loom) if text is None else text, encoding="utf-8")
    return load_harness(f"{path}#{configuration}" if configuration else path)


def facts(wires: Sequence[Wire]) -> list[Facts]:
    return sorted(
        (w.name, w.start, w.end, colour_code(w.colour), w.size_mm2, w.length_m, w.circuit) for w in wires
    )


def wanted(wires: Sequence[Made]) -> list[Facts]:
    return sorted(
        (
            made.name,
            made.start,
            made.end,
            "".join(made.colours),
            pytest.approx(made.size_mm2),
            pytest.approx(made.length_m),
            made.circuit,
        )
        for made in wires
    )


def said(harness: Harness) -> str:
    return "\n".join(str(problem) for problem in harness.warnings)


@pytest.mark.parametrize(("count", "seed"), [(10, 1), (10, 2), (10, 3), (100, 4), (100, 5), (1000, 6)])
def test_the_same_wires_come_back(tmp_path: Path, count: int, seed: int) -> None:
    loom = random_loom(count, seed)
    back = load(tmp_path, loom)
    assert facts(back.wires) == wanted(loom.wires)
    held = loom.modules["M1"]
    controlled = {name for names in loom.modules.values() for name in names}
    short = [made for made in loom.wires if made.name in held or made.name not in controlled]
    assert facts(load(tmp_path, loom, "short").wires) == wanted(short)
    assert facts(load(tmp_path, loom, "long").wires) == wanted(loom.wires)


@pytest.mark.parametrize("seed", range(5))
def test_ways_along_the_segments_are_those_of_networkx(tmp_path: Path, seed: int) -> None:
    loom = random_loom(60, seed)
    graph = nx.Graph()
    for a, b, metres in loom.segments:
        graph.add_edge(a, b, weight=metres)
    node = {station: n for n, stations in loom.sits.items() for station in stations}
    back = load(tmp_path, loom)
    assert back.lie is not None
    for wire, way in zip(back.wires, back.ways, strict=True):
        ends = [node.get(point.rpartition(":")[0] or point) for point in (wire.start, wire.end)]
        assert (way is not None) == (None not in ends)
        if way is not None:
            shortest = nx.dijkstra_path_length(graph, *ends)
            assert back.lie.length_m(way) == pytest.approx(shortest)


SMALL = Loom(
    [
        Made("1", "X1:1", "X2:1", 1.5, 0.8, ("RD", "WH"), "horn"),
        Made("2", "X1:2", "SP1", 0.5, 0.4, ("BU",)),
        Made("3", "SP1", "GND1", 2.5, 1.2, ("BN",)),
        Made("4", "SP1", "X2:2", 0.5, 0.3, ("BU",)),
        Made("5", "X1:2", "X2:3", 0.5, 0.3, ("BU",)),
    ],
    cavities={"X1": ["1", "2", "3", "4"]},
)


def test_cavities_rings_and_double_crimps(tmp_path: Path) -> None:
    back = load(tmp_path, SMALL)
    assert back.cavities == {"X1": ("1", "2", "3", "4"), "X2": ("1", "2", "3")}
    assert {"SP1", "GND1", "X1:3"} <= set(back.points)
    assert [w.name for w in back.wires if w.start == "X1:2"] == ["2", "5"]
    assert back.name == "Invented loom"
    assert "X1:2" in said(back) and len(back.warnings) == 1  # the double crimp, and nothing else


def test_boxes_and_their_fuses(tmp_path: Path) -> None:
    wires = [Made("1", "X1:1", "K1.A:1"), Made("2", "K1.A:2", "X2:1"), Made("3", "K1.B:1", "X2:2")]
    loom = Loom(
        [*wires, Made("4", "X1:2", "X2:3")],
        boxes={"K1": ["K1.A", "K1.B"]},
        fuses={"F1": ("K1.A:1", "K1.A:2"), "F2": ("K1.A:1", "K1.B:9")},
        cavities={"K1.B": ["1", "9"]},
    )
    back = load(tmp_path, loom)
    fuses = [(w.name, w.start, w.end) for w in back.wires if w.kind == "fuse"]
    assert fuses == [("F1", "K1.A:1", "K1.A:2")]
    assert "Fuse_occurrence fuse_F2: found fuse F2 at K1.A:1, K1.B:9" in said(back)


def test_without_a_choice_the_choices_and_what_excludes_itself_are_said(tmp_path: Path) -> None:
    wires = [Made("1", "X1:1", "X2:1"), Made("2", "X1:1", "X2:1"), Made("3", "X1:2", "X2:2")]
    loom = Loom(
        wires, modules={"M1": ["1"], "M2": ["2"]}, configurations={"north": ["M1"], "south side": ["M2"]}
    )
    told = said(load(tmp_path, loom))
    assert "3 wires of all variants together" in told
    assert "north (configuration, 2 wires), south side (configuration, 2 wires)" in told
    assert "wires of different variants between X1:1 and X2:1: 1, 2" in told
    south = load(tmp_path, loom, "south side")
    assert [wire.name for wire in south.wires] == ["2", "3"] and south.warnings == ()
    assert south.name == "Invented loom, south side"
    assert [wire.name for wire in load(tmp_path, loom, "M1").wires] == ["1", "3"]
    with pytest.raises(InputError, match=r"no configuration nort; expected one of .*the nearest is north"):
        load(tmp_path, loom, "nort")
    with pytest.raises(InputError, match="it holds one loom"):
        load(tmp_path, SMALL, "north")


@pytest.mark.parametrize("configuration", ["", "south side"])
def test_the_copy_in_a_run_loads_again(tmp_path: Path, configuration: str) -> None:
    loom = Loom(SMALL.wires, modules={"M2": ["2", "3"]}, configurations={"south side": [], "all": ["M2"]})
    (tmp_path / "a").mkdir()
    back = load(tmp_path / "a", loom, configuration)
    copy = tmp_path / "copy"
    copy.mkdir()
    for name, data in harness_copies(back).items():
        (copy / name).write_bytes(data)
    again = load_harness(copy)
    assert again.wires == back.wires and len(back.wires) == (3 if configuration else 5)
    assert (again.name, harness_digest(again)) == (back.name, harness_digest(back))


def test_a_setting_beside_the_file(tmp_path: Path) -> None:
    (tmp_path / "loom.kbl").write_text(written(SMALL), encoding="utf-8")
    (tmp_path / "harness.toml").write_text('name = "helm"\nwires = "loom.kbl"\nunreachable = ["SP1"]\n')
    back = load_harness(tmp_path)
    assert (back.name, len(back.wires), back.unreachable) == ("helm", 5, {"SP1"})


BROKEN = [
    (r"<Contact_point>p0_0</Contact_point>", "", "Connection con0: found a wire whose end", "1"),
    (
        r"<Contact_point>p0_0<",
        "<Contact_point>gone<",
        r"con0: found a wire whose end \(gone\)",
        "1",
    ),
    (r"<Wire>w_3</Wire>", "<Wire>gone</Wire>", "Connection con2: found a wire gone that the file", "3"),
    (r'<Extremities id="e1_1">.*?</Extremities>', "", "Connection con1: found a wire with one end", "2"),
    (r"(<Extremities id=\"e1_1\">.*?</Extremities>)", r"\1\1", "Connection con1: found a wire with 3", "2"),
    (r"<Part>hc1_0</Part>", "<Part>gone</Part>", "Cavities c1_0: found a cavity without a number", "1"),
    (
        r"<Contact_point>p1_1<",
        "<Contact_point>p2_0<",
        "con3: found a wire with both ends at SP1",
        "4",
    ),
]


@pytest.mark.parametrize(("pattern", "instead", "told", "lost"), BROKEN)
def test_a_broken_wire_is_named_and_the_rest_is_read(
    tmp_path: Path, pattern: str, instead: str, told: str, lost: str
) -> None:
    text, count = re.subn(pattern, instead, written(SMALL), count=1, flags=re.DOTALL)
    assert count
    back = load(tmp_path, SMALL, text=text)
    assert re.search(told, said(back))
    assert facts(back.wires) == wanted([made for made in SMALL.wires if made.name != lost])


@pytest.mark.parametrize(
    ("pattern", "instead", "told", "length", "size"),
    [
        (r"<Unit_component>u_mm2</", "<Unit_component></", "found an area of 1.5 without a unit", 0.8, None),
        (r"<Unit_component>u_mm2</", "<Unit_component>u_x</", "whose unit u_x the file does not", 0.8, None),
        (r"<Unit_component>u_mm2</", "<Unit_component>u_g</", "an area in the unit u_g", 0.8, None),
        (r"<Value_component>1.5<", "<Value_component>wide<", "wide as an area", 0.8, None),
        (r"<Unit_component>u_m</", "<Unit_component>u_mm2</", "a length in the unit u_mm2", 0.72, 1.5),
    ],
)
def test_a_value_without_its_unit_is_left_out_and_said(
    tmp_path: Path, pattern: str, instead: str, told: str, length: float, size: float | None
) -> None:
    text, count = re.subn(pattern, instead, written(SMALL), count=1)
    assert count
    back = load(tmp_path, SMALL, text=text)
    assert told in said(back) and "w_1" in said(back)
    assert back.wires[0].length_m == pytest.approx(length)
    assert back.wires[0].size_mm2 == (None if size is None else pytest.approx(size))


def test_names_become_points_and_that_is_said_once(tmp_path: Path) -> None:
    wires = [Made("1", "left lamp:1", "X2:1"), Made("2", "left lamp:2", "GND 1")]
    text = written(Loom(wires)).replace("<Id>X2</Id>", "<Id>left lamp</Id>")
    back = load(tmp_path, Loom(wires), text=text)
    assert [(w.start, w.end) for w in back.wires] == [
        ("left_lamp:1", "left_lamp_2"),
        ("left_lamp:2", "GND_1"),
    ]
    (told,) = [p for p in back.warnings if "so it was read" in p.expected]
    assert "left lamp is left_lamp, left lamp is left_lamp_2, GND 1 is GND_1" in told.expected


def test_two_wires_of_a_number_are_told_apart(tmp_path: Path) -> None:
    text = written(SMALL).replace("<Wire_number>4<", "<Wire_number>2<")
    back = load(tmp_path, SMALL, text=text)
    assert [wire.name for wire in back.wires] == ["1", "2", "3", "2_2", "5"]


def test_what_a_wire_list_cannot_hold_is_counted(tmp_path: Path) -> None:
    extra = '<Fixing_occurrence id="f1"/><Fixing_occurrence id="f2"/><Wire_protection_occurrence id="t"/>'
    idle = '<General_wire_occurrence id="spare"><Wire_number>9</Wire_number></General_wire_occurrence>'
    told = said(load(tmp_path, replace(SMALL, extra=extra + idle)))
    assert "2 Fixing_occurrence, 1 Wire_protection_occurrence" in told
    assert "1 wire without a connection (9)" in told


def test_slots_that_number_their_cavities_alike(tmp_path: Path) -> None:
    text = written(SMALL)
    second = (
        '<Slots id="hs0b"><Id>B</Id><Cavities id="hb"><Cavity_number>1</Cavity_number></Cavities></Slots>'
    )
    text = text.replace("</Connector_housing>", second + "</Connector_housing>", 1)
    text = text.replace("<Part>hc0_1</Part>", "<Part>hb</Part>", 1)
    back = load(tmp_path, SMALL, text=text)
    assert back.cavities["X1"] == ("S.1", "2", "3", "4", "B.1")
    assert [wire.start for wire in back.wires] == ["X1:S.1", "X1:B.1", "SP1", "SP1", "X1:B.1"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no XML"),
        ("<a>", "no XML"),
        ("plain words", "no XML"),
        ("<a/>", "root is a"),
        ('<!DOCTYPE a [<!ENTITY x "y">]><a>&x;</a>', "a document type"),
        ('<!DOCTYPE a SYSTEM "http://127.0.0.1/x"><a/>', "a document type"),
        ("<a>" * 100 + "</a>" * 100, "60 deep"),
        ("<KBL_container/>", "no harness"),
        ("<KBL_container><Harness/></KBL_container>", "no wire that could be read"),
        ('<?xml version="1.0" encoding="klingon"?><a/>', "encoding"),
    ],
)
def test_a_file_that_is_none(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        load(tmp_path, SMALL, text=text)


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        load_harness(tmp_path / "none.kbl")
