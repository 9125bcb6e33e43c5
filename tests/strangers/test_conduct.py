"""What a file may not do: leave its folder, run anything, command a terminal, become a formula."""

from __future__ import annotations

import ast
import csv
from pathlib import Path

import pytest

import loomtest
from loomtest.bench.plan.plan import plan
from loomtest.errors import InputError
from loomtest.evidence.page.sheet import write_sheet
from loomtest.harness.load import load_harness
from loomtest.readings.load import load_readings
from tests.commands.in_process import loomtest as call

ROOT = Path(loomtest.__file__).parent
NASTY = "\x1b[31m<script>alert(1)</script>\u202e\u200f'\""
BANNED_CALLS = {"eval", "exec", "compile", "__import__"}
BANNED_MODULES = {
    "pickle",
    "cPickle",
    "marshal",
    "shelve",
    "dill",
    "joblib",
    "yaml",
    "ruamel",
    "xmlrpc",
    "code",
}


def test_nothing_is_evaluated_unpickled_or_read_as_yaml() -> None:
    found = []
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in BANNED_CALLS
            ):
                found.append(f"{path.name}:{node.lineno} {node.func.id}")
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found += [f"{path.name} {name}" for name in names if name.split(".")[0] in BANNED_MODULES]
            if isinstance(node, ast.keyword) and node.arg in ("allow_pickle", "shell"):
                found += [f"{path.name} {node.arg}"] * (getattr(node.value, "value", None) is not False)
    assert found == []
    assert len(list(ROOT.rglob("*.py"))) > 100


@pytest.mark.parametrize(
    "wires", ["../list.csv", "/etc/passwd", "sub/../../list.csv", "link.csv", "sub/link.csv", "a\\u0000b.csv"]
)
def test_a_wire_list_outside_the_harness_folder_is_not_read(tmp_path: Path, wires: str) -> None:
    outside, home = tmp_path / "list.csv", tmp_path / "loom"
    outside.write_text("from,to\nX1:1,X2:1\n", "utf-8")
    (home / "sub").mkdir(parents=True)
    for link in (home / "link.csv", home / "sub" / "link.csv"):
        link.symlink_to(outside)
    (home / "harness.toml").write_text(f'wires = "{wires}"\n', "utf-8")
    with pytest.raises(InputError, match="leads out of the harness folder"):
        load_harness(home)


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    with (tmp_path / "wires.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["from", "to", "wire", "circuit", "note", NASTY])
        writer.writerow(["X1:1", "X2:1", NASTY, NASTY + "\n" + NASTY, NASTY, NASTY])
        writer.writerow(["X1:2", "X2:2", "=1+1", "=HYPERLINK(1)", "", ""])
    (tmp_path / "readings.csv").write_text("from,to,value,note\nX1:1,X2:1,OL,\x1b[2J\n", "utf-8")
    return tmp_path


COMMANDS = (
    ("check", "wires.csv"),
    ("plan", "wires.csv"),
    ("judge", "wires.csv", "readings.csv"),
    ("compare", "wires.csv", "readings.csv", "readings.csv"),
    ("report", "wires.csv", "readings.csv", "--out", "page"),
    ("plan", "wires.csv", "--sheet", "sheet"),
)


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: "-".join(command[::3]))
def test_no_name_commands_the_terminal_or_writes_a_tag(loom: Path, command: tuple[str, ...]) -> None:
    done = call(*command, cwd=loom)
    assert "Traceback" not in done.stderr and done.stdout + done.stderr
    for line in (done.stdout + done.stderr).split("\n"):
        assert line.replace("\u202f", " ").isprintable(), line  # a narrow space stands between thousands
    for page in [*loom.glob("*/*.html"), *loom.glob("*/*.svg")]:
        text = page.read_text("utf-8")
        assert "<script>alert" not in text and "\x1b" not in text
        assert "&lt;script&gt;alert" in text or page.suffix == ".svg"


def test_a_name_that_is_refused_is_shown_harmless(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text(f"from,to\nX1:\x1b[31m,X2:1\n{NASTY},X2:2\n", "utf-8")
    done = call("check", "wires.csv", cwd=tmp_path)
    assert done.returncode == 2 and "\\x1b[31m" in done.stderr
    assert all(line.isprintable() for line in done.stderr.split("\n"))


def test_a_sheet_for_a_spreadsheet_holds_no_formula_and_reads_back(tmp_path: Path) -> None:
    (tmp_path / "wires.csv").write_text("from,to,wire\n=A1,+B1,=W1\n@C:1,X2:2,W2\nX3:1,X4:1,W3\n", "utf-8")
    harness = load_harness(tmp_path / "wires.csv")
    write_sheet(harness, plan(harness), tmp_path / "sheet")
    table = tmp_path / "sheet" / "bench_sheet.csv"
    rows = list(csv.reader(table.read_text("utf-8").splitlines()))
    assert not [cell for row in rows for cell in row if cell[:1] in ("=", "+", "-", "@")]
    at = rows[0].index("value")
    filled = [[*row[:at], "OL", *row[at + 1 :]] for row in rows[1:]]
    with table.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([rows[0], *filled])
    found = load_readings(table, harness)
    assert set(found.points) == set(harness.points) and len(found) == len(filled)  # =A1 is =A1 again
