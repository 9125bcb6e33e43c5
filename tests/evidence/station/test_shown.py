"""The second screen of a station: the word, and a wrong unit on the picture; nothing runs or is fetched."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from loomtest.evidence.station.shown import write_ready, write_screen
from loomtest.readings.load import load_readings
from loomtest.words.verdict import judge
from tests.browser import Tab, browser
from tests.evidence import example


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


def test_right_and_wrong_are_words_signs_and_colours_that_fill_the_screen(tmp_path: Path, tab: Tab) -> None:
    harness = example.tractor()
    for run, word, picture in (("3_final", "RIGHT", 0), ("1_before", "WRONG", 2)):
        verdict = judge(harness, load_readings(example.TRACTOR / run, harness))
        page = tmp_path / f"{run}.html"
        write_screen(page, "hull 7", harness, verdict)
        # held still: the page asks for itself every second
        page.write_text(
            page.read_text("utf-8").replace('<meta http-equiv="refresh" content="1">', ""), "utf-8"
        )
        tab.open(page)
        assert word in tab.run("document.querySelector('h1').innerText")
        assert "hull 7" in tab.run("document.body.innerText")
        assert tab.run("document.querySelectorAll('svg').length") == picture
        assert tab.run("document.querySelector('h1').getBoundingClientRect().height") > 150
        assert tab.run("document.documentElement.scrollWidth") <= 1280
        assert tab.messages == []


def test_a_name_stays_a_name(tmp_path: Path, tab: Tab) -> None:
    harness = replace(example.tractor(), name="<script>document.title='owned'</script>")
    page = tmp_path / "station.html"
    write_screen(page, "<img src=x onerror=alert(1)>", harness, example.verdict(harness))
    assert "<script>" not in page.read_text("utf-8") and "<img" not in page.read_text("utf-8")


def test_before_the_first_unit_it_waits(tmp_path: Path) -> None:
    write_ready(tmp_path / "station.html", example.tractor())
    text = (tmp_path / "station.html").read_text("utf-8")
    assert "READY" in text and "Unit" not in text and "Orchard tractor" in text
