"""`loomtest new`: a folder to fill in, or one made from a notepad; nothing guessed, nothing written over."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import select
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given

from loomtest.errors import Problem
from loomtest.harness.load import load_harness
from loomtest.harness.model import Expect, Limits
from loomtest.harness.newfolder import Answers, files_of, write_new
from loomtest.harness.notes.reader import read_notes
from loomtest.harness.settings import read_settings
from loomtest.readings.load import load_readings
from tests.commands.in_process import loomtest
from tests.harness.notes.test_notepad import written_wires

NOTES = """\
# stern loom, invented
X1 to X2:
1 red 2.5 mm² 4.2 m to 1 for bilge pump
2 grey 1 mm² " " 2 for stern light
X2 4 black 4mm2 to NEG
"""


def wires_of(folder: Path) -> list[tuple[str, str, str, float | None, float | None]]:
    return [(w.start, w.end, w.colour, w.size_mm2, w.length_m) for w in load_harness(folder).wires]


def test_notes_become_a_harness_that_check_takes(tmp_path: Path) -> None:
    (tmp_path / "notepad.txt").write_text(NOTES, "utf-8")
    done = loomtest("new", "stern", "--notes", "notepad.txt", "--name", "Launch, stern", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "X1:2 grey, 1 mm², 4.2 m to X2:2, for stern light" in done.stdout
    assert "loomtest check stern" in done.stdout
    assert wires_of(tmp_path / "stern") == [
        ("X1:1", "X2:1", "red", 2.5, 4.2), ("X1:2", "X2:2", "grey", 1.0, 4.2),
        ("X2:4", "NEG", "black", 4.0, None),
    ]  # fmt: skip
    harness = load_harness(tmp_path / "stern")
    assert harness.name == "Launch, stern" and harness.warnings == ()
    checked = loomtest("check", "stern", cwd=tmp_path)
    assert (checked.returncode, checked.stderr) == (0, "")
    kept = (tmp_path / "stern" / "notes.txt").read_text("utf-8")
    assert kept.replace("\r\n", "\n") == NOTES


def test_standard_input_and_the_object(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "loomtest", "new", "stern", "--notes", "-", "--json"]
    done = subprocess.run(
        command, input=NOTES, cwd=tmp_path, capture_output=True, encoding="utf-8", check=True
    )
    found = json.loads(done.stdout)
    assert found["schema"] == "loomtest-new/1" and found["wires"] == 3
    names = [Path(name).name for name in found["files"]]
    assert names == [
        "wires.csv",
        "harness.toml",
        "readings.csv",
        "notes.txt",
        "notes.read.txt",
    ]
    assert found["read"][2] == {
        "line": 3, "text": "1 red 2.5 mm² 4.2 m to 1 for bilge pump",
        "said": "X1:1 red, 2.5 mm², 4.2 m to X2:1, for bilge pump",
    }  # fmt: skip
    assert len(wires_of(tmp_path / "stern")) == 3


def test_a_line_not_read_stops_it_and_is_named(tmp_path: Path) -> None:
    (tmp_path / "n.txt").write_text("X1 1 red to X2 1\nX1 2 to X2 2?\n\nX1 3 red\nand so on\n", "utf-8")
    done = loomtest("new", "stern", "--notes", "n.txt", cwd=tmp_path)
    assert done.returncode == 2
    assert "n.txt, line 2: found “X1 2 to X2 2?”; expected one meaning" in done.stderr
    assert "n.txt, line 4: " in done.stderr
    assert "2 lines not read yet" in done.stdout and not (tmp_path / "stern").exists()
    done = loomtest("new", "stern", "--notes", "n.txt", "--without-unread", cwd=tmp_path)
    assert done.returncode == 0 and "it was not read: line 2, 4." in done.stdout
    assert wires_of(tmp_path / "stern") == [("X1:1", "X2:1", "red", None, None)]


def test_nothing_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "stern").mkdir()
    (tmp_path / "stern" / "harness.toml").write_text("name = 'mine'\n")
    done = loomtest("new", "stern", cwd=tmp_path)
    assert done.returncode == 2 and "harness.toml: found a file that is there already" in done.stderr
    assert [p.name for p in (tmp_path / "stern").iterdir()] == ["harness.toml"]
    assert (tmp_path / "stern" / "harness.toml").read_text() == "name = 'mine'\n"
    (tmp_path / "plain").write_text("x")
    assert "found a file; expected a folder" in loomtest("new", "plain", cwd=tmp_path).stderr
    assert loomtest("new", "plain/deep", cwd=tmp_path).returncode == 2


def test_without_notes_it_is_a_sheet_to_fill_in(tmp_path: Path) -> None:
    done = loomtest(
        "new", "bow_loom", "--cavities", "X1=8", "--cavities", "X2=A1,A2", "--worked-on", "X1", cwd=tmp_path
    )
    assert done.returncode == 0 and "fill in wires.csv" in done.stdout
    folder = tmp_path / "bow_loom"
    settings = read_settings((folder / "harness.toml").read_text("utf-8"), "f", [])
    assert settings.name == "bow loom" and settings.worked_on == ("X1",)
    assert settings.cavities == {"X1": tuple("12345678"), "X2": ("A1", "A2")}
    refused = loomtest("check", "bow_loom", cwd=tmp_path)
    assert refused.returncode == 2 and "a row for each wire" in refused.stderr
    with (folder / "wires.csv").open("a", encoding="utf-8", newline="") as file:
        file.write("X1:1,X2:A1,,red,1.5,0.8\r\n".replace("\r\n", ",,,,,,\r\n"))
    with (folder / "readings.csv").open("a", encoding="utf-8", newline="") as file:
        file.write("X1:1,X2:A1,0.2,,,,\r\n")
    harness = load_harness(folder)
    assert wires_of(folder) == [("X1:1", "X2:A1", "red", 1.5, 0.8)] and harness.warnings == ()
    readings = load_readings(folder / "readings.csv", harness)
    assert readings.value.tolist() == [0.2] and readings.warnings == ()


def test_a_spreadsheet_keeps_every_comment_in_one_cell_and_its_letters() -> None:
    """A spreadsheet saves the rows again, padded to one width, perhaps all of them in quotation marks."""
    for separator in ",;":
        for name in ("wires.csv", "readings.csv"):
            text = files_of(Answers("x", separator=separator))[name]
            assert text.startswith("\ufeff")  # else it may take the letters for those of an old code page
            rows = list(csv.reader(io.StringIO(text[1:]), delimiter=separator))
            comments = [row for row in rows if row[0].startswith("#")]
            assert len(comments) >= 5 and all(len(row) == 1 for row in comments)
            assert rows[len(comments)][:2] == ["from", "to"]


@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
def test_what_a_spreadsheet_saves_again_is_read_the_same(tmp_path: Path, quoting: int) -> None:
    wires = read_notes(NOTES).wires
    text = files_of(Answers("x", wires=wires))["wires.csv"]
    rows = list(csv.reader(io.StringIO(text[1:])))
    width = max(map(len, rows))
    out = io.StringIO()
    csv.writer(out, delimiter=";", quoting=quoting).writerows(row + [""] * (width - len(row)) for row in rows)
    (tmp_path / "wires.csv").write_text(out.getvalue(), "utf-8", newline="")
    assert [(start, end) for start, end, *_ in wires_of(tmp_path)] == [(w.start, w.end) for w in wires]
    text = files_of(Answers("x"))["readings.csv"]
    rows = [*csv.reader(io.StringIO(text[1:])), ["X1:1", "X2:1", "0,2", "", "", "", ""]]
    out = io.StringIO()
    csv.writer(out, delimiter=";", quoting=quoting).writerows(rows)
    (tmp_path / "readings.csv").write_text(out.getvalue(), "utf-8", newline="")
    assert load_readings(tmp_path / "readings.csv", load_harness(tmp_path)).value.tolist() == [0.2]


def test_semicolons_come_with_decimal_commas(tmp_path: Path) -> None:
    (tmp_path / "n.txt").write_text("X1 1 1,5 mm2 0.85 m 0.5 A to X2 1\n", "utf-8")
    done = loomtest("new", "a", "--notes", "n.txt", "--semicolons", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")  # the commas were asked for
    text = (tmp_path / "a" / "wires.csv").read_text("utf-8")
    assert "X1:1;X2:1;W1;;1,5;0,85 m;;0,5 A;" in text
    assert wires_of(tmp_path / "a") == [("X1:1", "X2:1", "", 1.5, 0.85)]


def test_every_key_of_the_settings_is_there_with_its_default() -> None:
    text = files_of(Answers("x"))["harness.toml"].replace("\r\n", "\n")
    bare = "\n".join(
        line.removeprefix("# ") if re.match(r"# [\w]+ = ", line) else line for line in text.splitlines()
    )
    problems: list[Problem] = []
    settings = read_settings(bare, "harness.toml", problems)
    assert problems == []
    assert settings.expect == Expect()
    assert settings.limits == Limits(bad_joint_written=True, isolation_written=True)
    document = tomllib.loads(bare)
    assert set(document["limits"]) == set(Limits.__dataclass_fields__) - {
        "bad_joint_written",
        "isolation_written",
    }
    assert set(document["expect"]) == set(Expect.__dataclass_fields__)
    assert {"name", "wires", "unreachable", "worked_on", "cavities", "faces", "places"} <= set(document)
    assert read_settings(text, "harness.toml", problems).limits == Limits()


def test_what_check_would_find_in_the_notes_is_said_at_once(tmp_path: Path) -> None:
    (tmp_path / "n.txt").write_text("X1 3 red to X2 1\n", "utf-8")
    done = loomtest("new", "a", "--notes", "n.txt", "--cavities", "X1=2", cwd=tmp_path)
    assert done.returncode == 0
    assert 'found "X1:3"; expected a cavity of X1: 1 to 2' in " ".join(done.stderr.split())


def test_mistakes_in_the_options_are_told_together(tmp_path: Path) -> None:
    done = loomtest("new", "a", "--cavities", "X1", "--cavities", "X2=0", "--worked-on", "X1:3", cwd=tmp_path)
    assert done.returncode == 2 and not (tmp_path / "a").exists()
    for words in ('found "X1"', "--cavities", "--worked-on: found X1:3"):
        assert words in done.stderr
    assert loomtest("new", "a", "--notes", "none.txt", cwd=tmp_path).returncode == 2
    (tmp_path / "empty.txt").write_text("# nothing\n")
    assert "found no wire" in loomtest("new", "a", "--notes", "empty.txt", cwd=tmp_path).stderr


@given(written_wires())
def test_any_wire_of_a_notepad_passes_check(written: tuple[str, tuple[str, ...]]) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        write_new(Path(place) / "a", files_of(Answers("x", wires=read_notes(written[0]).wires)))
        harness = load_harness(Path(place) / "a")
        assert [(wire.start, wire.end) for wire in harness.wires] == [written[1][:2]]


@pytest.mark.skipif(os.name == "nt", reason="a pseudo-terminal is POSIX; the questions themselves are not")
def test_on_a_terminal_it_asks(tmp_path: Path) -> None:
    import pty

    (tmp_path / "n.txt").write_text(
        "X1 1 red to X2 1\nX1 2 R to X2 2?\nX3 A1 to X2 4?\nX1 3 to X2 3?\n", "utf-8"
    )
    pid, terminal = pty.fork()
    if pid == 0:
        os.chdir(tmp_path)
        os.execv(sys.executable, [sys.executable, "-m", "loomtest", "new", "stern_loom"])
    shown = b""
    for question, answer in (
        (b"File name of your wire notes", b"none.txt\n"), (b"go on without", b"n.txt\n"),
        (b"1 of 3", b"1\n"), (b"2 of 3", b"X3 A1 blue to X2 9\n"),
        (b"3 of 3", b"\n"), (b"Go on without", b"yes\n"),
        (b"called? [stern loom]", b"Stern\n"), (b"such as X1 8, X2 4)", b"X1\n"),
        (b"expected a connector", b"X1 2, X3=A1,A2\n"), (b"1,5?", b"yes\n"),
    ):  # fmt: skip
        while question not in shown:
            assert select.select([terminal], [], [], 60)[0], (question, shown)  # it waits for something else
            shown += os.read(terminal, 4096)
        shown = b""
        os.write(terminal, answer)
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 0
    harness = load_harness(tmp_path / "stern_loom")
    assert harness.name == "Stern" and harness.cavities == {"X1": ("1", "2"), "X3": ("A1", "A2")}
    assert wires_of(tmp_path / "stern_loom") == [
        ("X1:1", "X2:1", "red", None, None), ("X1:2", "X2:2", "", None, None),
        ("X3:A1", "X2:9", "blue", None, None)
    ]  # fmt: skip
    kept = tomllib.loads((tmp_path / "n.answers.toml").read_text("utf-8"))["line"]
    assert kept[1] == {"text": "X3 A1 to X2 4?", "meant": "X3:A1 blue to X2:9"}
    assert (tmp_path / "stern_loom" / "notes.answers.toml").exists()
    again = loomtest("new", "again", "--notes", "n.txt", "--without-unread", cwd=tmp_path)
    assert "1 line not read yet" in again.stdout  # only what was left for later
    assert ";" in (tmp_path / "stern_loom" / "wires.csv").read_text("utf-8").splitlines()[-1]
