"""A workshop of two invented looms, and one real browser for the tests of a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.tools import need

QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",
]  # fmt: skip
TAIL = """\
from,to,colour,circuit
X1:1,X2:1,red,lamp
X1:2,X2:2,yellow,left
X1:3,X2:3,green,right
X1:4,GND1,black,ground
"""


@pytest.fixture(scope="module")  # no longer: what drives it upsets the compiler of Python 3.11 meanwhile
def browser() -> Iterator[Browser]:
    program = need("chromium", "chromium", "chromium-browser", "google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    """The tail loom of an invented motorcycle."""
    folder = tmp_path / "tail"
    folder.mkdir()
    (folder / "wires.csv").write_text(TAIL)
    return folder


@pytest.fixture
def workshop(tmp_path: Path) -> Path:
    """Two looms in a folder."""
    folder = tmp_path / "shop"
    for name in ("tail", "Launch & stern"):
        (folder / name).mkdir(parents=True)
        (folder / name / "wires.csv").write_text(TAIL)
    (tmp_path / "secret.txt").write_text("nobody reads this")
    return folder
