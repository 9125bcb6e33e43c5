"""The front door: its commands run, its examples are what the program prints now, its links hold."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from loomtest.commands.app import app
from loomtest.words.cautions import CAUTIONS
from tests.documents import ROOT, blocks, printed
from tests.pictures import PICTURES, drawn

README = ROOT / "README.md"
DOCUMENTS = [
    README,
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "docs").glob("*.md")),
    ROOT / "sample_runs" / "README.md",
]
DEMO = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/loomtest demo"
TEST = "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest"


@pytest.mark.parametrize(
    "document",
    [d for d in DOCUMENTS if any(block.kind == "run" for block in blocks(d))],
    ids=lambda d: d.name,
)
def test_what_a_document_shows_is_what_the_program_prints(document: Path, tmp_path: Path) -> None:
    """Mend with `python tests/documents.py FILE` where the program is right and the document is old."""
    played = list(printed(document, tmp_path))
    assert played
    for block, status, output in played:
        assert output == block.text, block.what
        assert status == block.status, block.what


def test_the_readme_shows_a_first_test() -> None:
    kinds = [block.kind for block in blocks(README)]
    assert kinds.count("file") == 2
    assert kinds[-1] == "run"


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    text = README.read_text(encoding="utf-8")
    assert text.split("\n\n")[1].startswith("loomtest proves a rebuilt vehicle wiring loom right")
    assert text.index(DEMO) < text.index(TEST) < text.index("## A first test")
    assert r".venv\Scripts\loomtest demo" in text


def test_the_readme_s_first_command_sets_everything_up_from_a_fresh_copy(tmp_path: Path) -> None:
    copy = tmp_path / "clone"
    shutil.copytree(
        ROOT,
        copy,
        ignore=shutil.ignore_patterns(".*", "*.egg-info", "__pycache__", "build", "loomtest-demo*"),
    )
    environment = {
        k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV", "PYTHONHOME")
    }
    done = subprocess.run(
        ["sh", "-c", DEMO],
        cwd=copy,
        env={**environment, "PIP_DISABLE_PIP_VERSION_CHECK": "1", "NO_COLOR": "1"},
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "4 faults gone, none left" in done.stdout
    installed = list((copy / ".venv").rglob("loomtest/data/demo/README.md"))
    assert len(installed) == 1  # it ran from what was installed, and the samples came along
    assert (copy / "loomtest-demo" / "reports" / "1_before" / "report.html").is_file()


def test_every_command_stands_in_the_readme_and_no_other() -> None:
    text = README.read_text(encoding="utf-8")
    table = set(re.findall(r"^\| `loomtest (\w+)", text, re.MULTILINE))
    names = {
        command.name or command.callback.__name__ for command in app.registered_commands if command.callback
    }
    assert table == names


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda d: d.name)
def test_links_lead_somewhere(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        if "://" not in target:
            assert (document.parent / target).exists(), target


def test_the_pictures_are_what_the_program_draws_now() -> None:
    """Mend with `python tests/pictures.py`."""
    for name, svg in drawn().items():
        assert (PICTURES / name).read_text(encoding="utf-8") == svg, name


def test_the_cautions_stand_where_people_read_them() -> None:
    page = (ROOT / "docs" / "cautions.md").read_text(encoding="utf-8")
    for caution in CAUTIONS:
        assert caution in page
    readme = README.read_text(encoding="utf-8")
    for words in (
        "negative off first",
        "Airbags",
        "Control units unplugged",
        "anything above 60 V",
        "never a bridged",
        "no vapour",
        "local law",
        "own manual, local codes and licensed practice",
        "never says that a vehicle is safe",
    ):
        assert words in readme


def test_every_page_that_has_someone_measure_begins_with_the_cautions() -> None:
    for name in (
        "first-test",
        "before-you-wrap",
        "corroded-ground",
        "milliohms",
        "change-a-connector",
        "wiggle",
    ):
        head = (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")[:1500]
        assert "cautions](cautions.md)" in head.replace("\n> ", " "), name
    for name in ("log", "build-the-scanner"):
        assert "(cautions.md)" in (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")[:1500], name


def test_the_session_s_first_screen_has_them_all() -> None:
    from loomtest.commands.log.view import CAUTIONS as FIRST_SCREEN

    text = " ".join(FIRST_SCREEN)
    for words in ("negative clamp first", "control unit unplugged", "airbags", "orange", "fuel", "bridged"):
        assert words in text, words
    assert "own manual" in text and "local law" in text


def test_every_page_is_reached_from_the_start_page() -> None:
    start = (ROOT / "docs" / "README.md").read_text(encoding="utf-8")
    pages = {page.name for page in (ROOT / "docs").glob("*.md")} - {"README.md"}
    assert {name for name in pages if f"]({name})" not in start} == set()


def test_the_picture_of_the_house_names_every_room_and_the_commands_it_gives_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {
        f.name for f in (ROOT / "loomtest").iterdir() if f.is_dir() and not f.name.startswith(("_", "."))
    }
    assert {room for room in rooms if f"  {room}/" not in text} == set()
    for module in re.findall(r"python -m (tests\.[\w.]+)", text):
        place = ROOT / module.replace(".", "/")
        assert place.with_suffix(".py").is_file() or (place / "__main__.py").is_file(), module
    for script in re.findall(r"python (\w[\w/]+\.py)", text):
        assert (ROOT / script).is_file(), script
