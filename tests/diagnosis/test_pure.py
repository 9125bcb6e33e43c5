"""Diagnosis keeps nothing between two calls and changes nothing that it is given.

That it opens no file and reads no clock is a contract of import-linter (`pyproject.toml`).
"""

from __future__ import annotations

import ast
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest

import loomtest
from loomtest.diagnosis.change.change import Side, change_between
from loomtest.diagnosis.judge import judge
from loomtest.harness.model import Harness
from loomtest.readings.model import Readings

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_runs" / "orchard_tractor"
BUILT_IN = {"open", "print", "input", "exec", "eval", "globals", "setattr"}


def impure(source: str) -> list[str]:
    """What a module does that a pure one does not: state of its own, and the doors to the world."""
    tree = ast.parse(source)
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Global):
            found.append(f"{node.lineno}: global")
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in BUILT_IN:
            found.append(f"{node.lineno}: {node.func.id}()")
        if isinstance(node, ast.FunctionDef):
            decorators = {ast.unparse(d).partition("(")[0].rpartition(".")[2] for d in node.decorator_list}
            found += [f"{node.lineno}: {name}" for name in decorators & {"cache", "lru_cache"}]
    for node in tree.body:
        value = node.value if isinstance(node, ast.Assign) else None
        if isinstance(value, ast.List | ast.Set) or (
            isinstance(value, ast.Call)
            and ast.unparse(value.func) in ("list", "set", "dict", "defaultdict", "count")
        ):
            found.append(f"{node.lineno}: a module variable that can change")
    return found


def test_no_module_holds_state_or_opens_anything() -> None:
    assert len(impure("a = []\nb = set()\n@lru_cache\ndef f():\n    global a\n    print(a)")) == 5
    modules = sorted((ROOT / "loomtest" / "diagnosis").rglob("*.py"))
    assert len(modules) > 40
    assert {path.name: found for path in modules if (found := impure(path.read_text("utf-8")))} == {}


def locked(record: object) -> None:
    """Make every array of a record and of the records in it refuse to be written."""
    assert is_dataclass(record)
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, np.ndarray):
            value.flags.writeable = False


def sample(run: str) -> tuple[Harness, Readings]:
    harness = loomtest.load_harness(SAMPLE)
    readings = loomtest.load_readings(SAMPLE / run, harness)
    locked(readings)
    for array in (harness.start, harness.end, harness.conducts, harness.net_of, harness.reachable):
        array.flags.writeable = False
    return harness, readings


@pytest.mark.parametrize("run", ["1_before", "3_final"])
def test_judging_changes_no_reading_and_says_the_same_again(run: str) -> None:
    harness, readings = sample(run)
    with pytest.raises(ValueError, match="read-only"):
        readings.value[0] = 1.0
    first = judge(harness, readings)
    assert judge(harness, readings).to_json() == first.to_json()
    turned = replace(readings, instrument=None)
    judge(harness, turned)  # another judgement in between leaves no trace
    assert judge(harness, readings).to_json() == first.to_json()


def test_comparing_changes_no_reading() -> None:
    (harness, before), (_, after) = sample("1_before"), sample("3_final")
    sides = [Side(readings, judge(harness, readings), None) for readings in (before, after)]
    first = change_between(harness, *sides).to_json()
    assert change_between(harness, *sides).to_json() == first
