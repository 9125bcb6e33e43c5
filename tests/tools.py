"""Programs of the system that fuller tests use: asked for in one place, never missed in silence."""

from __future__ import annotations

import os
import shutil

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
