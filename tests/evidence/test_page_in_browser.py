"""The report in a real browser: its own script runs, nobody else's does, and it prints whole."""

from __future__ import annotations

import subprocess
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from loomtest.evidence.page import write_report
from loomtest.readings.load import load_readings
from tests.evidence import example
from tests.tools import need

QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",
)  # fmt: skip


def browse(page: Path, profile: Path, *options: str) -> str:
    browser = need("chromium", "chromium", "chromium-browser", "google-chrome")
    command = [browser, *QUIET, f"--user-data-dir={profile}", *options, page.as_uri()]
    done = subprocess.run(command, capture_output=True, timeout=120, check=True)
    return done.stdout.decode("utf-8", "replace")


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
    tmp_path: Path, requests_seen: tuple[list[str], int]
) -> None:
    seen, port = requests_seen
    page = write_nasty(tmp_path / "report", port)
    dom = browse(page, tmp_path / "profile", "--dump-dom", "--virtual-time-budget=3000")
    title = dom[dom.index("<title>") : dom.index("</title>")]
    assert "Not right yet" in title
    assert not title.startswith("<title>owned")
    assert seen == []
    # the page's own script did run under the policy: every column that sorts has its button
    assert dom.count('aria-label="Sort by ') == 3 + 8


def test_it_prints_on_a4_and_letter(tmp_path: Path) -> None:
    harness = example.tractor()
    readings = load_readings(example.TRACTOR / "1_before", harness)
    page = write_report(harness, readings, example.verdict(harness), tmp_path / "report")[0]
    browse(page, tmp_path / "profile", f"--print-to-pdf={tmp_path / 'page.pdf'}", "--no-pdf-header-footer")
    pdf = (tmp_path / "page.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert 3 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page/") <= 8
