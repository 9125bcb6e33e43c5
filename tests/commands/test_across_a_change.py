"""`judge` and `compare` after a connector change: the old cavity is named, the wire is followed. Invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest

WIRES = (
    "wire,from,to,colour,size,length\n"
    "W1,X5:1,X1:1,RD,2.5,1.8\nW2,X5:2,X1:2,BK/WH,1.5,1.8\nW3,X5:3,X1:3,BN,1.5,1.8\n"
)
METER = (
    'name = "milliohmmeter"\nmethod = "four-wire"\nautorange = true\nopen_above_ohms = 2.0e7\n'
    "[[range]]\nup_to_ohms = 20.0\npercent = 0.5\ncounts = 3\nresolution_ohms = 0.001\n"
)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    for name, text in (
        ("helm/wires.csv", WIRES),
        ("meter.toml", METER),
        ("map.csv", "old,new\nX5:1,X5N:3\nX5:2,X5N:1\nX5:3,X5N:2\n"),
        ("before.csv", "from,to,value\nX5:1,X1:1,0.9\nX5:2,X1:2,0.026\nX5:3,X1:3,0.025\n"),
        ("after.csv", "from,to,value\nX5N:3,X1:1,0.017\nX5N:1,X1:2,0.026\nX5N:2,X1:3,0.025\n"),
        (
            "crossed.csv",
            "from,to,value\nX5N:3,X1:1,0.017\nX5N:1,X1:3,0.026\nX5N:2,X1:2,0.025\n"
            "X5N:1,X1:2,OL\nX5N:2,X1:3,OL\n",
        ),
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert loomtest("swap", "helm", "map.csv", "--out", "new", cwd=tmp_path).returncode == 0
    return tmp_path


def test_the_old_cavity_and_the_colour_stand_beside_the_new_cavity(bench: Path) -> None:
    done = loomtest("judge", "new", "crossed.csv", "--instrument", "meter.toml", cwd=bench)
    assert done.returncode == 1, done.stderr
    text = " ".join(done.stdout.split())
    assert text.count("X5N cavity 1 (was X5:2)") == 1  # said once, then shorter
    assert "X5N cavity 2 (was X5:3)" in text
    assert "black-white 1.5 mm² wire W2" in text and "brown 1.5 mm² wire W3" in text


def test_a_wire_is_followed_across_the_change(bench: Path) -> None:
    options = ("--instrument", "meter.toml", "--json")
    done = loomtest("compare", "new", "before.csv", "after.csv", *options, cwd=bench)
    found = json.loads(done.stdout)
    changes = {(pair["from"], pair["to"]): pair["change"] for pair in found["pairs"]}
    assert changes == {("X5N:1", "X1:2"): "same", ("X5N:2", "X1:3"): "same", ("X5N:3", "X1:1"): "better"}
    (gone,) = found["faults"]["gone"]
    assert (gone["fault"], gone["points"], gone["suspects"][0]["wire"]) == (
        "high-resistance", ["X5N:3", "X1:1"], "W1"
    )  # fmt: skip
