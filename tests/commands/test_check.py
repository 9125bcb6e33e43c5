"""`loomtest check` as a person and as a script meets it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.in_process import Done, loomtest


def check(*arguments: str) -> Done:
    return loomtest("check", *arguments)


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    (tmp_path / "wires.csv").write_text(
        "wire,from,to,colour,size,length,kind,ohms_min,ohms_max,amps,circuit\n"
        "W1,X1:1,SP1,RD,1.5,1.0,,,,5,horn\n"
        "W2,SP1,X2:1,RD,1.5,0.5,,,,,horn\n"
        "W3,SP1,X3:1,RD,,,,,,,horn\n"
        "L1,X2:1,X2:2,,,,lamp,0.4,0.9,,\n"
        "W4,X2:2,GND1,BK,1.5,0.5,,,,,\n",
        encoding="utf-8",
    )
    (tmp_path / "harness.toml").write_text(
        'name = "Invented launch"\nunreachable = ["SP1"]\n[cavities]\nX1 = 2\n', encoding="utf-8"
    )
    return tmp_path


def test_a_person_sees_nets_parts_and_what_is_missing(loom: Path) -> None:
    done = check(str(loom))
    assert (done.returncode, done.stderr) == (0, "")
    out = done.stdout
    assert out.startswith(
        "Invented launch\n4 wires, 1 part, 2 circuits, 7 points, 3 connectors, 1 splice, 1 ground\n"
    )
    assert "horn: X1:1 SP1 (splice) X2:1 X3:1" in out
    assert "X2:2 GND1 (ground)" in out
    assert "lamp  0.4 Ω to 0.9 Ω" in out
    assert "Empty cavities: X1:2" in out
    assert "No probe reaches: SP1" in out
    assert "1 of 4 wires without size or length: W3." in out
    # 1.05 · 0.017241 · 0.5 / 1.5 + 0.004 = 10.03 mΩ, and 20 mΩ above it
    row = next(line for line in out.splitlines() if line.split()[:1] == ["W2"])
    assert row.endswith("10 mΩ, limit 30 mΩ")
    assert max(map(len, out.splitlines())) <= 80


def test_json_is_one_object_and_nothing_else(loom: Path) -> None:
    done = check(str(loom), "--json")
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert found["schema"] == "loomtest-check/1"
    assert found["counts"] == {
        "wires": 4,
        "parts": 1,
        "points": 7,
        "connectors": 3,
        "nets": 2,
        "splices": 1,
        "grounds": 1,
        "loops": 0,
    }
    assert found["nets"][0] == {
        "net": "horn",
        "points": ["X1:1", "SP1", "X2:1", "X3:1"],
        "wires": ["W1", "W2", "W3"],
        "loops": 0,
    }
    assert found["parts"] == [
        {"part": "L1", "kind": "lamp", "from": "X2:1", "to": "X2:2", "ohms_min": 0.4, "ohms_max": 0.9}
    ]
    assert found["wires"][2]["expected_ohms"] is None
    assert found["wires"][1]["expected_ohms"] == pytest.approx(1.05 * 0.017241 / 3 + 0.004, rel=1e-5)
    assert found["empty_cavities"] == ["X1:2"]
    assert found["warnings"] == []


def test_every_mistake_on_standard_error_with_status_2(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("from,to,size\nX1:1,X1:1,\nX1:2,X2:2,fat\nX1:3,,\n", encoding="utf-8")
    for options in ([], ["--json"]):
        done = check(str(path), *options)
        assert (done.returncode, done.stdout) == (2, "")
        for words in (f"{path}, line 2, to", "line 3, size", "line 4, to"):
            assert words in done.stderr
        assert "Traceback" not in done.stderr


def test_warnings_do_not_stop_it(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("from;to;length\nX1:1;X2:1;0,85\nX1:1;X2:2;\n", encoding="utf-8")
    done = check(str(path))
    assert done.returncode == 0
    assert "Look at these again" in done.stdout
    assert "decimal comma" in done.stdout
    assert [w["line"] for w in json.loads(check(str(path), "--json").stdout)["warnings"]] == [2, 3]


def test_names_cannot_command_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("from,to,wire,circuit\nX1:1,X2:1,a\x1b[2J,\u202egnol\n", encoding="utf-8")
    done = check(str(path))
    assert done.returncode == 0
    assert "\\x1b[2J" in done.stdout and "\\u202e" in done.stdout
    assert "\x1b" not in done.stdout and "\u202e" not in done.stdout


def test_a_long_list_is_cut_for_a_person_and_whole_in_json(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    rows = [f"X{i}:1,Y{i}:1" for i in range(500)]
    path.write_text("from,to\n" + "\n".join(rows) + "\n", encoding="utf-8")
    out = check(str(path)).stdout
    assert "and 100 more" in out
    assert len(json.loads(check(str(path), "--json").stdout)["nets"]) == 500


def test_the_same_in_a_process_of_its_own(loom: Path) -> None:
    command = [sys.executable, "-X", "utf8", "-m", "loomtest", "check", str(loom)]
    done = subprocess.run(command, capture_output=True, check=False, encoding="utf-8")
    assert (done.returncode, done.stdout, done.stderr) == (0, check(str(loom)).stdout, "")
