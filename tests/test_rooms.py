"""The rooms are entered one way only, and the front door opens without carrying the furniture out."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "serial", "jinja2", "rich", "bagit", "tomlkit")


def test_imports_keep_the_contracts_of_pyproject() -> None:
    script = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def modules_after(code: str) -> set[str]:
    """Names of the top-level modules that a fresh interpreter has loaded after running the code."""
    at_exit = (
        "import sys, json, atexit; atexit.register(lambda: print('\\n' + json.dumps(list(sys.modules))))"
    )
    script = f"{at_exit}\n{code}"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return {name.partition(".")[0] for name in json.loads(done.stdout.splitlines()[-1])}


@pytest.mark.parametrize("option", ["--version", "--help"])
def test_start_up_loads_nothing_heavy(option: str) -> None:
    loaded = modules_after(f"sys.argv = ['loomtest', {option!r}]\nimport loomtest.commands as c\nc.main()")
    assert "loomtest" in loaded
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize("words", ["loomtest jud", "loomtest judge --ins", "loomtest plan --isolation "])
def test_completing_a_word_in_the_shell_loads_nothing_heavy(
    words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("_LOOMTEST_COMPLETE", "complete_bash")
    monkeypatch.setenv("COMP_WORDS", words)
    monkeypatch.setenv("COMP_CWORD", str(len(words.split(" ")) - 1))
    loaded = modules_after("sys.argv = ['loomtest']\nimport loomtest.commands as c\nc.main()")
    assert "loomtest" in loaded
    assert not loaded & set(HEAVY)


@pytest.mark.parametrize("verb", ["check", "judge"])
@pytest.mark.parametrize("size", ["", ",1,2"])
def test_a_small_loom_is_judged_without_pandas_and_scipy(verb: str, size: str, tmp_path: Path) -> None:
    wires = [f"X1:{k},X2:{k}{size}" for k in range(1, 31)]
    (tmp_path / "wires.csv").write_text("\n".join(["from,to" + (",size,length" if size else ""), *wires]))
    rows = [f"X1:{k},X2:{k},{0.3 + k % 4 / 100:.2f}" for k in range(1, 31)]  # some are read twice
    (tmp_path / "readings.csv").write_text("\n".join(["from,to,value", *rows, *rows[:9], "X1:1,X1:2,OL"]))
    arguments = ["loomtest", verb, str(tmp_path / "wires.csv"), str(tmp_path / "readings.csv")]
    loaded = modules_after(
        f"sys.argv = {arguments[: 4 if verb == 'judge' else 3]!r}\n"
        "import loomtest.commands as c\ntry:\n    c.main()\nexcept SystemExit as end:\n"
        "    assert end.code in (0, 3), end.code"
    )
    assert "numpy" in loaded or verb == "check"
    assert not loaded & (set(HEAVY) - {"numpy"})


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert not modules_after("import loomtest") & {*HEAVY, "typer"}


def test_the_heavy_list_can_fail() -> None:
    assert "numpy" in modules_after("import loomtest.harness.model")


def test_files_and_functions_keep_their_size() -> None:
    long = [
        f"{path.relative_to(ROOT)}: {lines} lines"
        for path in sorted((ROOT / "loomtest").rglob("*.py"))
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 400
    ]
    assert long == []


def test_no_room_is_named_after_nothing() -> None:
    vague = {"core", "utils", "util", "common", "manager", "helpers", "misc"}
    assert [p.name for p in (ROOT / "loomtest").rglob("*.py") if set(p.stem.split("_")) & vague] == []
