"""Programs of the system that fuller tests use: asked for in one place, never missed in silence."""

from __future__ import annotations

import os
import shutil
import zipfile
from pathlib import Path

import pytest


def need(tool: str, package: str, *others: str) -> str:
    """The path of a program (or of the first of `others` that is there), from the Debian package named.

    Where it is missing, the test fails when CI is set, and is otherwise skipped with the package's name,
    which pytest prints at the end (-rs in pyproject.toml).
    """
    for name in (tool, *others):
        path = shutil.which(name)
        if path is not None:
            return path
    message = f"{tool} is not installed: apt-get install {package}"
    if os.environ.get("CI"):
        pytest.fail(message, pytrace=False)
    pytest.skip(message)


AXE = "axe-playwright-python"  # the package on PyPI that brings axe-core along as one file
AXE_FOLDER = Path(__file__).parents[1] / ".ci" / "cache"


def need_axe() -> str:
    """The source of axe-core, which finds what keeps a page from being used by ear or by keyboard.

    It is read from the package as it was fetched, without installing it. Where it is missing, the test
    fails when CI is set, and is otherwise skipped with the command that fetches it.
    """
    for wheel in sorted(AXE_FOLDER.glob(f"{AXE.replace('-', '_')}-*.whl")):
        with zipfile.ZipFile(wheel) as package:
            name = next(name for name in package.namelist() if name.endswith("axe.min.js"))
            return package.read(name).decode()
    message = f"axe-core is not there: .venv/bin/pip download --no-deps --dest .ci/cache {AXE}"
    if os.environ.get("CI"):
        pytest.fail(message, pytrace=False)
    pytest.skip(message)
