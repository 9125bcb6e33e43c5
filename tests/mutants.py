"""Small changes to the package, one at a time: do the tests of the changed module notice?

    python -m tests.mutants                        # 200 changes to diagnosis, readings and words
    python -m tests.mutants --count 40 --seed 3 diagnosis/seen

Each change is made in a copy of the project, and only the tests that mirror the module are run there (its
own test file and those of `tests/covers.py`), the first failure ending them. What survives is printed with
its place. The runner is our own: mutmut copies the package alone and calls one suite for all, and neither
fits tests that start the program, read `sample_runs/` and are found by the module's name.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

from tests.covers import files_for

ROOT = Path(__file__).parents[1]
ROOMS = ("diagnosis", "readings", "words")
COPIED = ("loomtest", "tests", "sample_runs", "docs", "firmware_notes", "pyproject.toml", "README.md")
LONGEST_S = 240.0

_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}


@dataclass(frozen=True)
class Mutant:
    """One change: the module (a path below `loomtest/`), the line, the old text and the new."""

    module: Path
    line: int
    start: int
    end: int
    old: str
    new: str

    def __str__(self) -> str:
        return f"{self.module}:{self.line}: {self.old!r} -> {self.new!r}"


def mutants_of(module: Path, source: str) -> Iterator[Mutant]:
    """Every single change to the expressions of a module's functions; annotations and texts stay."""
    starts = [0]
    for line in source.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    for function in ast.walk(ast.parse(source)):
        if not isinstance(function, ast.FunctionDef):
            continue
        for statement in function.body:
            for node in ast.walk(statement):
                for changed in _changes(node):
                    assert isinstance(node, ast.expr) and node.end_lineno and node.end_col_offset
                    start = starts[node.lineno - 1] + node.col_offset
                    end = starts[node.end_lineno - 1] + node.end_col_offset
                    old = source.encode()[start:end].decode()
                    yield Mutant(module, node.lineno, start, end, old, f"({ast.unparse(changed)})")


def _changes(node: ast.AST) -> Iterator[ast.expr]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARISONS:
        yield ast.Compare(node.left, [_COMPARISONS[type(node.ops[0])](), *node.ops[1:]], node.comparators)
    elif isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
        yield ast.BinOp(node.left, _OPERATORS[type(node.op)](), node.right)
        yield node.left  # the term dropped
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert):
        yield node.operand
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(node.test, node.orelse, node.body)


def sample(places: list[str], count: int, seed: int) -> list[Mutant]:
    """`count` changes drawn from all that there are below these places."""
    found: dict[tuple[Path, int, str], Mutant] = {}
    for place in places:
        below = ROOT / "loomtest" / place
        for path in [below] if below.is_file() else sorted(below.rglob("*.py")):
            module = path.relative_to(ROOT / "loomtest")
            for mutant in mutants_of(module, path.read_text("utf-8")):
                found[module, mutant.start, mutant.new] = mutant
    every = list(found.values())
    return random.Random(seed).sample(every, min(count, len(every)))


def survives(mutant: Mutant, home: Path) -> bool:
    """Whether the mirrored tests pass with the change made in the copy at `home`."""
    path = home / "loomtest" / mutant.module
    whole = path.read_bytes()
    path.write_bytes(whole[: mutant.start] + mutant.new.encode() + whole[mutant.end :])
    try:
        tests = [test for test in files_for(mutant.module) if (home / test).is_file()]
        options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:randomly", "--no-header"]
        environment = {**os.environ, "PYTHONPATH": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *options, *tests],
            cwd=home,
            env=environment,
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
        )
        return done.returncode == 0
    except subprocess.TimeoutExpired:
        return False  # a loop without end is noticed
    finally:
        path.write_bytes(whole)


def main() -> None:
    """Make the changes, run the tests, print the survivors."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("places", nargs="*", default=list(ROOMS), help="below loomtest/")
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    drawn = sample(asked.places, asked.count, asked.seed)
    with tempfile.TemporaryDirectory() as folder:
        homes: Queue[Path] = Queue()
        for number in range(asked.jobs):
            home = Path(folder) / str(number)
            for name in COPIED:
                source = ROOT / name
                ignored = shutil.ignore_patterns("__pycache__")
                if source.is_dir():
                    shutil.copytree(source, home / name, ignore=ignored)
                else:
                    shutil.copy2(source, home / name)
            homes.put(home)

        def judged(mutant: Mutant) -> bool:
            home = homes.get()
            try:
                return survives(mutant, home)
            finally:
                homes.put(home)

        left = 0
        with ThreadPoolExecutor(asked.jobs) as pool:
            for number, (mutant, alive) in enumerate(zip(drawn, pool.map(judged, drawn), strict=True), 1):
                left += alive
                if alive:
                    print(f"survived: {mutant}", flush=True)
                if number % 20 == 0:
                    print(f"{number} of {len(drawn)}: {left} survived", flush=True)
    print(f"{left} of {len(drawn)} survived (seed {asked.seed})")


if __name__ == "__main__":
    main()
