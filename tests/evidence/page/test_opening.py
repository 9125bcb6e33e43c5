"""`open-this-first.html`: what it says, and that its lines check the bag without this program."""

from __future__ import annotations

import html
import re
import subprocess
from pathlib import Path

import pytest

from loomtest.evidence.archive.bag import OPENING, bag_problems, digest_of
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.page.opening import LINUX, WINDOWS
from tests.evidence.archive import kept
from tests.tools import need


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    run = kept.make_run(tmp_path / "run", kept.loom(tmp_path / "loom"))
    return kept.keep(Archive(tmp_path / "archive"), run, "one").folder


def check(bag: Path) -> subprocess.CompletedProcess[str]:
    """The line for Linux as it stands on the page, in a shell."""
    need("sha256sum", "coreutils")
    page = html.unescape((bag / OPENING).read_text("utf-8"))
    lines = [
        line for line in re.findall(r"<pre>(.*?)</pre>", page, re.DOTALL) if line.startswith("sha256sum")
    ]
    assert lines == [LINUX]
    return subprocess.run(
        ["sh", "-c", lines[0]], cwd=bag, capture_output=True, text=True, check=False, timeout=60
    )


def test_the_line_of_the_page_prints_the_digest_of_the_whole(bag: Path) -> None:
    done = check(bag)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [digest_of(bag / "tagmanifest-sha256.txt"), "tagmanifest-sha256.txt"]


@pytest.mark.parametrize("name", ["data/verdict.json", "data/run/readings.csv", "bag-info.txt", OPENING])
def test_a_changed_or_missing_file_is_named(bag: Path, name: str) -> None:
    whole = (bag / name).read_bytes()
    page = (bag / OPENING).read_bytes()
    (bag / name).write_bytes(whole + b" ")
    if name == OPENING:
        done = subprocess.run(["sh", "-c", LINUX], cwd=bag, capture_output=True, text=True, check=False)
    else:
        assert (bag / OPENING).read_bytes() == page
        done = check(bag)
    assert done.returncode != 0 and f"{name}: FAILED" in done.stdout
    assert any(name in problem for problem in bag_problems(bag))
    (bag / name).unlink()
    done = subprocess.run(["sh", "-c", LINUX], cwd=bag, capture_output=True, text=True, check=False)
    assert done.returncode != 0 and name in done.stdout + done.stderr


def test_it_says_what_is_there_and_links_lead_to_files_that_are(bag: Path) -> None:
    text = (bag / OPENING).read_text("utf-8")
    links = re.findall(r'href="([^"]+)"', text)
    assert links and all((bag / link).is_file() for link in links)
    assert "data/report/report.html" in links and "data/run/readings.csv" in links
    assert "It does not say that the vehicle is safe" in text
    assert bag.name in text and "Everything that was checked is right" in text
    assert len(text) < 8_000  # a bag of a right unit is to stay small


def test_the_line_for_windows_asks_for_the_same_files_and_names_each_that_differs() -> None:
    assert "tagmanifest-sha256.txt, manifest-sha256.txt" in WINDOWS
    for word in (
        "Get-Content -Encoding UTF8",
        "Get-FileHash -Algorithm SHA256 -LiteralPath",
        "-ne $d",
        "CHANGED",
    ):
        assert word in WINDOWS
    assert WINDOWS.count("{") == WINDOWS.count("}") and WINDOWS.count("(") == WINDOWS.count(")")
    assert "\n" not in WINDOWS
