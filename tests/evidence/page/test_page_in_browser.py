"""The report in a real browser: its own script runs, nobody else's does, and it prints whole."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from loomtest.evidence.page.page import write_report
from loomtest.readings.load import load_readings
from tests.browser import Tab, browser
from tests.evidence import example
from tests.tools import need_axe


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="module")
def tractor(tmp_path_factory: pytest.TempPathFactory) -> Path:
    harness = example.tractor()
    readings = load_readings(example.TRACTOR / "1_before", harness)
    return write_report(harness, readings, example.verdict(harness), tmp_path_factory.mktemp("report"))[0]


@pytest.fixture
def requests_seen() -> object:
    """A server on the loopback that notes every request: the page must make none."""
    seen: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            seen.append(self.path)
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield seen, server.server_address[1]
    server.shutdown()
    thread.join()
    server.server_close()


def write_nasty(folder: Path, port: int) -> Path:
    harness = example.tractor()
    nasty = (
        f"<script>document.title='owned';fetch('http://127.0.0.1:{port}/a')</script>"
        f"<img src=http://127.0.0.1:{port}/b onerror=\"document.title='owned'\">"
    )
    wires = tuple(replace(wire, circuit=nasty, note=nasty) for wire in harness.wires)
    harness = replace(harness, name=nasty, wires=wires, places={"X1": nasty})
    readings = load_readings(example.TRACTOR / "1_before", example.tractor())
    verdict = replace(example.verdict(harness), harness=nasty, notes=(nasty,))
    return write_report(harness, readings, verdict, folder)[0]


def test_no_foreign_script_runs_and_no_request_leaves(
    tmp_path: Path, tab: Tab, requests_seen: tuple[list[str], int]
) -> None:
    seen, port = requests_seen
    tab.open(write_nasty(tmp_path / "report", port))
    tab.run("new Promise(done => setTimeout(done, 300))")
    assert "Not right yet" in tab.run("document.title")
    assert seen == []
    assert tab.messages == []
    # the page's own script did run under the policy: every column that sorts has its button
    assert tab.run("document.querySelectorAll('button[aria-label^=\"Sort by \"]').length") == 3 + 8


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_axe_finds_nothing_that_keeps_anyone_from_using_it(
    tab: Tab, tractor: Path, width: int, dark: bool
) -> None:
    """axe-core, every rule that it has on by default: WCAG 2.0 to 2.2, levels A and AA, and good practice."""
    tab.open(tractor, width, dark)
    tab.run(need_axe() + ";0")
    script = """axe.run().then(found => JSON.stringify({passes: found.passes.map(rule => rule.id),
        violations: found.violations.map(rule => [rule.id, rule.help, rule.nodes[0].html])}))"""
    found = json.loads(tab.run(script))
    assert found["violations"] == []
    assert {"color-contrast", "landmark-one-main", "svg-img-alt", "th-has-data-cells"} <= set(found["passes"])


@pytest.mark.parametrize("width", [390, 820, 1280])
def test_no_width_makes_the_page_itself_scroll_sideways(tab: Tab, tractor: Path, width: int) -> None:
    tab.open(tractor, width)
    assert tab.run("document.documentElement.scrollWidth") == width
    # nothing that is wider than its place is cut off: such a place scrolls, and the keyboard reaches it
    cut = """[...document.querySelectorAll('main *')].filter(e => e.scrollWidth > e.clientWidth + 1
        && e.clientWidth && getComputedStyle(e).overflowX !== 'visible'
        && !(e.matches('.scroll') && e.tabIndex === 0) && !e.closest('svg, select'))
        .map(e => e.outerHTML.slice(0, 99))"""
    assert tab.run(cut) == []


def test_a_table_sorts_by_keyboard_and_says_so(tab: Tab, tractor: Path) -> None:
    tab.open(tractor)
    measured = """[...document.querySelectorAll('[aria-label="Table of wires"] tbody tr')]
        .map(row => Number(row.cells[6].dataset.value))"""
    before = tab.run(measured)
    tab.run("document.querySelector('button[aria-label=\"Sort by Measured\"]').focus()")
    state = "document.activeElement.closest('th').getAttribute('aria-sort')"
    assert tab.run(state) is None
    tab.press("Enter", 13)
    assert tab.run(state) == "ascending"
    assert tab.run(measured) == sorted(before) != before
    tab.press("Enter", 13)
    assert tab.run(state) == "descending"
    assert tab.run(measured) == sorted(before, reverse=True)


def test_a_wire_is_followed_through_the_picture_by_keyboard_and_by_pointer(tab: Tab, tractor: Path) -> None:
    tab.open(tractor)
    lit = "[...new Set([...document.querySelectorAll('.way.lit')].map(way => way.dataset.wire))]"
    assert tab.run(lit) == []
    tab.run("document.getElementById('follow').focus()")
    tab.press("ArrowDown", 40)
    assert tab.run(lit) == ["W1"]
    assert "W1" in tab.run("document.getElementById('follow').selectedOptions[0].textContent")
    shown = "getComputedStyle(document.querySelector('.way.lit')).display"
    assert tab.run(shown) == "inline"
    chosen = tab.run("[...document.getElementById('follow').options].map(option => option.value)")
    assert chosen[:3] == ["", "W1", "W2"]
    assert chosen.index("W9") + 1 == chosen.index("W10")
    x1_3 = "[...document.querySelectorAll('[data-wires]')].find(dot => dot.textContent.startsWith('X1:3'))"
    tab.run(f"{x1_3}.dispatchEvent(new MouseEvent('click', {{bubbles: true}}))")
    assert tab.run(lit) == ["W5"]
    ends = "[...document.querySelectorAll('circle.lit title')].map(title => title.textContent.split(':')[0])"
    assert {"X1", "SOL"} == set(tab.run(ends))


def test_units_stand_in_one_line_down_a_column(tab: Tab, tractor: Path) -> None:
    tab.open(tractor)
    edges = """[...document.querySelectorAll('[aria-label="Table of wires"] tbody tr')]
        .map(row => row.cells[6].querySelector('i')).filter(unit => unit)
        .map(unit => Math.round(unit.getBoundingClientRect().left))"""
    assert len(set(tab.run(edges))) == 1


@pytest.mark.parametrize("size", [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "Letter"])
def test_it_prints_whole(tmp_path: Path, tab: Tab, tractor: Path, size: tuple[float, float]) -> None:
    tab.open(tractor)
    tab.print(tmp_path / "page.pdf", size)
    pdf = (tmp_path / "page.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    pages = pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page/")
    assert 5 <= pages <= 9
    # as wide as the paper less its margins, in CSS pixels: nothing is wider, so nothing is cut off
    tab.call("Emulation.setEmulatedMedia", media="print", features=[])
    wide = round((size[0] - 26 / 25.4) * 96)
    tab.call("Emulation.setDeviceMetricsOverride", width=wide, height=900, deviceScaleFactor=1, mobile=False)
    assert tab.run("document.documentElement.scrollWidth") <= wide
    assert tab.run("getComputedStyle(document.querySelector('.follow')).display") == "none"
