"""From the last reading to the kept bag, in a real browser: the answer, mending, report, comparison."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import bagit
import pytest
from playwright.sync_api import Browser, Page, expect

from loomtest.harness.load import load_harness
from loomtest.readings.run import About, Reading, create_run
from loomtest.web.place import now
from tests.web.serving import Serving, served

JOINED = (("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:3", "X2:3"), ("X1:4", "GND1"))
APART = (
    ("X1:1", "X1:2"),
    ("X1:1", "X1:3"),
    ("X1:1", "X1:4"),
    ("X1:2", "X1:3"),
    ("X1:2", "X1:4"),
    ("X1:3", "X1:4"),
)


@pytest.fixture
def measured(loom: Path) -> Path:
    """A run that found the lamp's wire broken."""
    writer = create_run(loom / "runs" / "run-1", load_harness(loom), About(stage="before"), clock=now)
    for start, end in JOINED:
        for _ in range(2):
            writer.record(Reading(start, end, "OL" if start == "X1:1" else "0.3"))
    for start, end in APART:
        writer.record(Reading(start, end, "OL"))
    writer.close("complete")
    return loom


@pytest.fixture
def serving(measured: Path, tmp_path: Path) -> Iterator[Serving]:
    with served(measured, tmp_path, "--archive", str(tmp_path / "evidence")) as serving:
        yield serving


@pytest.fixture
def page(browser: Browser, serving: Serving) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(serving.key_address)
    yield page
    context.close()


def test_found_mended_measured_compared_kept(
    page: Page, serving: Serving, measured: Path, tmp_path: Path
) -> None:
    page.get_by_role("link", name="See the fault").click()
    card = page.locator("ol.faults > li")
    expect(card).to_have_count(1)
    expect(card).to_contain_text("X1 cavity 1")
    assert card.locator("svg.drawing").count() >= 1  # the faces it concerns
    page.get_by_role("button", name="Fixed: measure again").click()
    next_touch = page.get_by_role("status", name="Next touch")
    expect(next_touch).not_to_have_attribute("data-from", "")
    rows = page.get_by_role("list", name="Readings so far").get_by_role("listitem")
    for _ in range(30):
        ends = {next_touch.get_attribute("data-from"), next_touch.get_attribute("data-to")}
        if ends == {""}:
            break
        count = rows.count()
        page.get_by_label("What the meter shows").fill(
            "0.3" if any(ends == set(pair) for pair in JOINED) else "OL"
        )
        page.get_by_label("What the meter shows").press("Enter")
        expect(rows).to_have_count(count + 1)
    page.get_by_role("link", name="See the answer").click()
    expect(page.locator(".answer .say")).to_contain_text("right", ignore_case=True)
    page.get_by_role("link", name="run-1").click()
    expect(page.get_by_label("What changed")).to_contain_text("Gone")
    expect(page.locator("svg.drawing")).to_have_count(2)
    page.get_by_role("link", name="Page for the customer").click()
    expect(page.locator(".answer .say")).to_contain_text("The fault is fixed")
    expect(page.get_by_role("table", name="Faults")).to_contain_text("Worked on")  # what log --after wrote
    expect(page.locator(".seal")).to_have_count(0)
    page.goto(f"{serving.base}/answer")
    page.get_by_role("button", name="Keep as evidence").click()
    expect(page.locator("#kept")).to_contain_text("Kept in", timeout=20000)
    (bag,) = [path.parent for path in (tmp_path / "evidence").rglob("bagit.txt")]
    assert bagit.Bag(str(bag)).is_valid()
    page.goto(f"{serving.base}/customer?before=run-1&after=run-2")
    expect(page.locator(".seal")).to_contain_text(bag.name)
    assert "run-2" not in str(list((measured / "runs" / "run-1").iterdir()))


def test_the_report_is_whole_and_runs_its_own_script_alone(page: Page, serving: Serving) -> None:
    problems: list[str] = []
    page.on("console", lambda message: problems.append(message.text))
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.goto(f"{serving.base}/report?run=run-1")
    expect(page.locator("h1")).to_be_visible()
    page.get_by_role("button", name="Sort by Wire").first.click()
    assert problems == []
    with page.expect_download() as loading:
        page.evaluate(f"location.assign('{serving.base}/report?run=run-1&save=1')")
    assert loading.value.suggested_filename == "report-run-1.html"


def test_a_wire_is_followed_through_the_picture_by_touch(page: Page, serving: Serving) -> None:
    page.goto(f"{serving.base}/show")
    page.locator("tr[data-wire='W2']").click()
    assert page.locator(".way.lit").count() >= 1
    expect(page.locator(".told")).to_contain_text("X1 cavity 2 to X2 cavity 2")


def test_a_run_that_is_not_there_is_told(page: Page, serving: Serving) -> None:
    for path in ("/answer?run=run-9", "/report?run=../x", "/customer?before=run-1&after=run-1"):
        page.goto(serving.base + path)
        expect(page.locator("main")).to_contain_text("expected")
