"""The `>>>` examples of the docstrings, run beside the sample runs."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

import loomtest

ROOT = Path(__file__).parents[1]
MODULES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted((ROOT / "loomtest").rglob("*.py"))
    if "    >>> " in path.read_text("utf-8")
]


@pytest.mark.parametrize("module", MODULES)
def test_the_examples_of_a_module_show_what_comes_out(module: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT / "sample_runs")
    found = doctest.testmod(import_module(module), extraglobs={"loomtest": loomtest})
    assert found.attempted > 0 and found.failed == 0


def test_what_a_notebook_meets_first_has_examples() -> None:
    assert len(MODULES) > 4
    for thing in (loomtest.Harness, loomtest.Readings, loomtest.plan, loomtest.compare, loomtest.frame):
        assert ">>> " in (thing.__doc__ or ""), thing
