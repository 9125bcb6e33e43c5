"""The rooms are entered one way only, and the front door opens without carrying the furniture out."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.covers import COVERED_BY, files_for, own_test

ROOT = Path(__file__).parent.parent
# Longer than 60 lines, still to be split:
LONG = {
    "loomtest/diagnosis/joints/estimate.py: _posterior",
    "loomtest/diagnosis/joints/report.py: _rows",
}
UNREACHED: set[str] = set()  # modules that nothing imports yet
HEAVY = (
    "numpy",
    "pandas",
    "pyarrow",
    "scipy",
    "matplotlib",
    "serial",
    "jinja2",
    "rich",
    "bagit",
    "tomlkit",
    "sqlalchemy",
    "starlette",
    "uvicorn",
)


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


def test_files_keep_their_size() -> None:
    long = [
        f"{path.relative_to(ROOT)}: {lines} lines"
        for path in sorted((ROOT / "loomtest").rglob("*.py"))
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 400
    ]
    assert long == []


def lengths(source: str) -> dict[str, int]:
    """Lines of every function. Of a verb only its statements: its options and its help are tables."""
    found = {}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno:
            verb = any(ast.unparse(each).startswith("app.command") for each in node.decorator_list)
            first = node.body[1 if ast.get_docstring(node) else 0].lineno if verb else node.lineno
            found[node.name] = node.end_lineno - first + 1
    return found


def test_functions_keep_their_size() -> None:
    assert lengths("def f(\n    a,\n):\n    return a\n") == {"f": 4}
    assert lengths('@app.command()\ndef f(\n    a,\n):\n    """Help."""\n    return a\n') == {"f": 1}
    long = {
        f"{path.relative_to(ROOT).as_posix()}: {name}"
        for path in sorted((ROOT / "loomtest").rglob("*.py"))
        for name, lines in lengths(path.read_text("utf-8")).items()
        if lines > 60
    }
    assert long == LONG


@cache
def imports_of(path: Path) -> frozenset[str]:
    """Modules that a file imports, at its top or inside a function."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{each.name}" for each in node.names)}
        elif isinstance(node, ast.Import):
            found |= {each.name for each in node.names}
    return frozenset(found)


@cache
def starts_the_program(path: Path) -> bool:
    """True where a test starts `python -m loomtest`."""
    return '"-m", "loomtest"' in path.read_text("utf-8")


@cache
def reached_from(test: Path) -> frozenset[str]:
    """Modules of the package that a test file imports, itself or by way of others, or by starting it."""
    found: set[str] = set()
    waiting = [test]
    while waiting:
        path = waiting.pop()
        starts = {"loomtest.commands.app"} if starts_the_program(path) else set()
        for name in imports_of(path) | starts:
            path = ROOT / (name.replace(".", "/") + ".py")
            package = ROOT / name.replace(".", "/") / "__init__.py"
            here = path if path.is_file() else package
            if name not in found and name.startswith(("loomtest", "tests")) and here.is_file():
                found.add(name)
                waiting.append(here)
    return frozenset(found)


def test_the_tests_of_every_module_are_found_by_its_name() -> None:
    """In the mirrored folder under the module's name, or listed in `tests/covers.py` with what covers it."""
    modules = {
        path.relative_to(ROOT / "loomtest")
        for path in (ROOT / "loomtest").rglob("*.py")
        if not path.stem.startswith("__")
    }
    own = {module.as_posix() for module in modules if (ROOT / own_test(module)).is_file()}
    every = {module.as_posix() for module in modules}
    assert every - own - COVERED_BY.keys() == UNREACHED & every, (
        "no tests: add a file of their name, or a line in covers.py"
    )
    assert COVERED_BY.keys() - every == set(), "no such module any more"
    assert COVERED_BY.keys() & own == set(), "has a test file of its own name: take its line out"
    reached: dict[str, frozenset[str]] = {}
    for module in COVERED_BY:
        for test in files_for(Path(module)):
            assert (ROOT / test).is_file(), f"{module}: no {test}"
            reached.setdefault(test, reached_from(ROOT / test))
            name = "loomtest." + module.removesuffix(".py").replace("/", ".")
            assert name in reached[test], f"{test} does not reach {module}"


def test_no_room_is_named_after_nothing() -> None:
    vague = {"core", "utils", "util", "common", "manager", "helpers", "misc"}
    assert [p.name for p in (ROOT / "loomtest").rglob("*.py") if set(p.stem.split("_")) & vague] == []
