"""A wire list in its own words: asked about once on a terminal; elsewhere one message says what to write."""

from __future__ import annotations

import os
import select
import sys
import tomllib
from pathlib import Path

import pytest

from loomtest.harness.askcolumns import columns_question, problems_with, remember
from loomtest.harness.load import load_harness
from tests.commands.in_process import loomtest
from tests.harness.test_workbook import ends, xlsx

ROWS = [
    ["Fishing launch, stern (invented)"],
    ["Ref", "Slot", "Leads", "hue", "mass"],
    ["X1", 1, "X2 4", "red", "a"],
    ["X1", 2, "GND1", "black", "b"],
]


def test_without_a_terminal_one_message_says_what_to_write(tmp_path: Path) -> None:
    xlsx(tmp_path / "loom.xlsx", ("Sheet1", ROWS))
    (tmp_path / "list.csv").write_text("Ref;Slot;Leads\nX1;1;X2 4\n")
    for name in ("loom.xlsx", "list.csv"):
        done = loomtest("check", name, cwd=tmp_path)
        assert (done.returncode, done.stdout) == (2, "")
        assert "harness.toml" in done.stderr and "[columns]" in done.stderr and "Ref" in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["list.csv", "loom.xlsx"]


@pytest.mark.skipif(os.name == "nt", reason="a pseudo-terminal is POSIX; the questions themselves are not")
def test_on_a_terminal_it_asks_once(tmp_path: Path) -> None:
    import pty

    xlsx(tmp_path / "loom.xlsx", ("Sheet1", ROWS))
    pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(tmp_path)
        os.execv(sys.executable, [sys.executable, "-m", "loomtest", "check", "loom.xlsx"])
    shown = b""
    for question, answer in (
        (b"Where does a wire begin?", b"nine\n"), (b"expected a number", b"1 2\n"),
        (b"Where does it end?", b"2\n"), (b"try again", b""),  # two pins of X1 are no ends of a wire
        (b"Where does a wire begin?", b"1 2\n"), (b"Where does it end?", b"3\n"),
        (b"colour?", b"4\n"), (b"size?", b"\n"), (b"length?", b"\n"),
    ):  # fmt: skip
        while question not in shown:
            assert select.select([terminal], [], [], 60)[0], (question, shown)
            shown += os.read(terminal, 4096)
        shown = shown[shown.index(question) + len(question) :]
        os.write(terminal, answer)
    while True:
        try:
            more = os.read(terminal, 4096)
        except OSError:
            break
        if not more:
            break
        shown += more
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0
    assert b"2 wires" in shown
    kept = tomllib.loads((tmp_path / "harness.toml").read_text("utf-8"))
    assert kept == {
        "name": "loom",
        "wires": "loom.xlsx",
        "columns": {"from": ["Ref", "Slot"], "to": "Leads", "colour": "hue"},
    }
    again = loomtest("check", "loom.xlsx", cwd=tmp_path)  # asks nothing
    assert again.returncode == 0 and "X2:4" in again.stdout
    assert [wire.colour for wire in load_harness(tmp_path).wires] == ["red", "black"]


def test_the_rest_of_harness_toml_stays_as_it_was(tmp_path: Path) -> None:
    xlsx(tmp_path / "loom.xlsx", ("Sheet1", ROWS))
    text = '# my own words\r\nwires = "loom.xlsx"  # the sheet\r\n\r\n[places]\r\nX1 = "stern"\r\n'
    (tmp_path / "harness.toml").write_bytes(text.encode())
    asked = columns_question(tmp_path)
    assert asked is not None and [name for name, _ in asked.choices] == [
        "Ref",
        "Slot",
        "Leads",
        "hue",
        "mass",
    ]
    names = {"from": ("Ref", "Slot"), "to": ("Leads",)}
    assert problems_with(asked, names) == []
    remember(asked, names)
    after = (tmp_path / "harness.toml").read_bytes().decode()
    assert after.startswith(text.rstrip()) or all(line in after for line in text.splitlines())
    assert ends(tmp_path) == [("X1:1", "X2:4"), ("X1:2", "GND1")]
    assert load_harness(tmp_path).places == {"X1": "stern"}


def test_two_columns_of_one_name_and_none_at_all(tmp_path: Path) -> None:
    xlsx(tmp_path / "a.xlsx", ("Sheet1", [["Ref", "x", "Ref"], ["X1:1", "a", "X2:1"]]))
    asked = columns_question(tmp_path / "a.xlsx")
    assert asked is not None and [name for name, _ in asked.choices] == ["column A", "x", "column C"]
    remember(asked, {"from": ("column A",), "to": ("column C",)})
    assert ends(tmp_path / "a.xlsx") == [("X1:1", "X2:1")]
    other = tmp_path / "other"
    other.mkdir()
    xlsx(other / "b.xlsx", ("Sheet1", [["X1", 1, "X2", 4], ["X1", 2, "X2", 5]]))
    asked = columns_question(other / "b.xlsx")
    assert asked is not None and asked.heading_row == 0
    remember(asked, {"from": ("column A", "column B"), "to": ("column C", "column D")})
    assert ends(other) == [("X1:1", "X2:4"), ("X1:2", "X2:5")]


def test_a_harness_toml_of_another_list_is_left_alone(tmp_path: Path) -> None:
    xlsx(tmp_path / "loom.xlsx", ("Sheet1", ROWS))
    (tmp_path / "harness.toml").write_text('wires = "other.csv"\n')
    assert columns_question(tmp_path / "loom.xlsx") is None
