"""The measuring screen in a real browser: typed values, two screens, lost connections, a killed server."""

from __future__ import annotations

import csv
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from loomtest.harness.load import load_harness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.run import About, Reading, create_run
from tests.web.conftest import TAIL
from tests.web.serving import Serving, served, start

PHONE = {"width": 390, "height": 844}
JOINED = {("X1:1", "X2:1"), ("X1:2", "X2:2"), ("X1:3", "X2:3"), ("GND1", "X1:4")}


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """One workshop for all; each test brings a loom of its own into it."""
    place = tmp_path_factory.mktemp("measure")
    (place / "shop").mkdir()
    with served(place / "shop", place) as serving:
        yield serving


@pytest.fixture(scope="module")
def inside(browser: Browser, serving: Serving) -> Iterator[BrowserContext]:
    """A phone that was let in."""
    context = browser.new_context(viewport=PHONE, has_touch=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(serving.key_address)
    page.close()
    yield context
    context.close()


@pytest.fixture
def loom(serving: Serving, request: pytest.FixtureRequest) -> Path:
    folder = serving.folder / request.node.name[5:40]
    folder.mkdir()
    (folder / "wires.csv").write_text(TAIL)
    return folder


@pytest.fixture
def screen(inside: BrowserContext, serving: Serving, loom: Path) -> Iterator[Page]:
    """The measuring screen of the test's loom."""
    page = measuring(inside, f"{serving.base}/loom/{loom.name}/measure")
    yield page
    page.close()


def measuring(context: BrowserContext, address: str) -> Page:
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.goto(address)
    expect(asked(page)).not_to_have_attribute("data-from", "")
    assert problems == []
    return page


def entered(context: BrowserContext, serving: Serving) -> Page:
    """The measuring screen of a server that has one loom."""
    context.new_page().goto(serving.key_address)
    return measuring(context, f"{serving.base}/measure")


def asked(page: Page) -> Locator:
    return page.get_by_role("status", name="Next touch")


def pair(page: Page) -> tuple[str, str]:
    next_touch = asked(page)
    return next_touch.get_attribute("data-from") or "", next_touch.get_attribute("data-to") or ""


def items(page: Page) -> Locator:
    return page.get_by_role("list", name="Readings so far").locator("[data-row]:is(li)")


def give(page: Page, value: str) -> None:
    """Type a value and wait until it is in the list."""
    count = items(page).count()
    field = page.get_by_role("textbox", name="What the meter shows")
    field.fill(value)
    field.press("Enter")
    expect(items(page)).to_have_count(count + 1)


def true_value(ends: tuple[str, str]) -> str:
    """What a meter shows on this loom without a fault."""
    return "0.2" if tuple(sorted(ends)) in JOINED else "OL"


def rows(loom: Path, run: str = "run-1") -> list[dict[str, str]]:
    with (loom / "runs" / run / "readings.csv").open() as file:
        return list(csv.DictReader(file))


def test_a_whole_loom_is_measured_with_typed_values(screen: Page, loom: Path) -> None:
    for _ in range(40):
        ends = pair(screen)
        if not ends[0]:
            break
        assert asked(screen).get_attribute("data-quantity") == "resistance"
        give(screen, true_value(ends))
    assert pair(screen) == ("", "")
    recorded = rows(loom)
    assert {tuple(sorted((row["from"], row["to"]))) for row in recorded if row["value"] != "OL"} == JOINED
    assert [item.get_attribute("data-row") for item in items(screen).all()] == [
        str(number) for number in range(1, len(recorded) + 1)
    ]
    screen.get_by_role("link", name="See the answer").click()
    expect(screen.locator(".answer")).to_contain_text("Everything that was checked is right")


def test_the_keys_do_what_they_say(screen: Page, loom: Path) -> None:
    first = pair(screen)
    give(screen, "0.2")
    screen.get_by_role("button", name="Same as last").click()
    expect(items(screen)).to_have_count(2)
    screen.get_by_role("button", name="Take back").click()
    expect(items(screen).nth(1)).to_contain_text("taken back")
    screen.get_by_role("button", name="Over-range").click()
    expect(items(screen)).to_have_count(3)
    screen.get_by_role("button", name="Touch again").click()
    give(screen, "0.3")
    screen.get_by_role("button", name="poor touch").click()
    expect(items(screen).nth(2)).to_contain_text("taken back")
    skipped = pair(screen)
    screen.get_by_role("button", name="Skip").click()
    expect(asked(screen)).not_to_have_attribute("data-to", skipped[1])
    screen.get_by_role("button", name="Stop").click()
    expect(asked(screen)).to_have_attribute("data-from", "")
    recorded = rows(loom)
    assert (recorded[0]["from"], recorded[0]["to"], recorded[0]["value"]) == (*first, "0.2")
    assert recorded[1]["value"] == "0.2"
    assert recorded[2]["withdraws"] == "2"
    assert [(row["value"], row["withdraws"], row["note"]) for row in recorded[3:]] == [
        ("OL", "", ""), ("0.3", "", ""), ("", "4", "poor touch"),
    ]  # fmt: skip
    assert 'status = "stopped"' in (loom / "runs" / "run-1" / "run.toml").read_text()


def test_number_keys_under_the_thumb(screen: Page, loom: Path) -> None:
    for name in ("0", ".", "3", "5", "Delete"):
        screen.get_by_role("group", name="Number keys").get_by_role("button", name=name, exact=True).click()
    screen.get_by_role("button", name="Enter", exact=True).click()
    expect(items(screen)).to_have_count(1)
    assert rows(loom)[0]["value"] == "0.3"
    for key in screen.locator(".key:visible").all():
        box = key.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 68, key.inner_text()  # 18 mm at 96 to the inch


PAIR = "wire,from,to,size,length\nW1,X1:1,X2:1,0.5,2\nW2,X1:2,X2:2,0.5,2\n"


def test_the_page_goes_on_to_find_the_place_of_a_short(
    inside: BrowserContext, serving: Serving, loom: Path
) -> None:
    (loom / "wires.csv").write_text(PAIR)
    meter = About(instrument=load_instrument("handheld-3half"))
    harness = load_harness(loom)
    with create_run(loom / "runs" / "first", harness, meter, clock=lambda: datetime.now(UTC)) as run:
        for start, end, value in (("X1:1", "X2:1", "0.2"), ("X1:2", "X2:2", "0.2"), ("X1:1", "X1:2", "0.2")):
            run.record(Reading(start, end, value))
        run.close("stopped")
    page = inside.new_page()
    page.goto(f"{serving.base}/loom/{loom.name}/measure")
    page.get_by_role("button", name="Go on measuring").click()
    expect(asked(page)).to_have_attribute("data-quantity", "voltage_drop")
    expect(asked(page)).to_contain_text("feed the current in at X1 cavity 1 and out at X1 cavity 2")
    for caution in ("off the vehicle", "a fuse and a lamp", "ten seconds", "Never pierce insulation"):
        expect(asked(page)).to_contain_text(caution)
    page.get_by_role("textbox", name="What the meter shows").fill("36")  # no unit, no amperes
    page.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator("#said")).to_contain_text("expected the volts with their unit")
    numbers, units = (page.get_by_role("group", name=name) for name in ("Number keys", "Unit keys"))
    for group, name in ((numbers, "3"), (numbers, "6"), (units, "mV"), (numbers, "2"), (units, "A")):
        group.get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name="Enter", exact=True).click()
    expect(asked(page)).to_have_attribute("data-from", "X1:2")
    row = rows(loom, "first")[-1]
    assert (row["value"], row["quantity"], row["current"]) == ("36 mV", "voltage_drop", "2.0")
    page.get_by_role("button", name="Skip").click()
    expect(asked(page)).to_have_attribute("data-from", "")  # nothing more for places, and the rest is read
    page.close()


def test_two_screens_show_the_same_and_one_reading_is_taken_once(
    screen: Page, inside: BrowserContext, loom: Path
) -> None:
    other = measuring(inside, screen.url)
    assert pair(other) == pair(screen)
    give(screen, "0.2")
    expect(items(other)).to_have_count(1)
    expect(asked(other)).to_have_attribute("data-to", pair(screen)[1])
    give(other, true_value(pair(other)))
    expect(items(screen)).to_have_count(2)
    assert rows(loom)[0]["value"] == "0.2"
    other.close()


def test_reload_and_page_keys_lose_nothing(screen: Page, loom: Path) -> None:
    give(screen, "0.2")
    ends = pair(screen)
    screen.get_by_role("textbox", name="What the meter shows").fill("0.4")
    screen.reload()
    expect(asked(screen)).to_have_attribute("data-from", ends[0])
    expect(screen.get_by_role("textbox", name="What the meter shows")).to_have_value("0.4")
    expect(items(screen)).to_have_count(1)
    screen.keyboard.press("PageDown")  # a presenter's button: the same as last
    expect(items(screen)).to_have_count(2)
    assert rows(loom)[1]["value"] == "0.2"


def test_a_screen_without_a_connection_says_so_and_sends_what_was_typed_later(
    screen: Page, loom: Path
) -> None:
    give(screen, "0.2")
    context = screen.context
    context.set_offline(True)
    expect(screen.get_by_role("alert")).to_be_visible(timeout=2000)
    screen.get_by_role("textbox", name="What the meter shows").fill("0.25")
    screen.get_by_role("button", name="Enter", exact=True).click()
    expect(screen.get_by_role("alert")).to_contain_text("not recorded yet: 0.25")
    assert len(rows(loom)) == 1
    context.set_offline(False)
    expect(items(screen)).to_have_count(2, timeout=8000)
    expect(screen.get_by_role("alert")).to_be_hidden()
    assert [row["value"] for row in rows(loom)] == ["0.2", "0.25"]


def test_a_killed_server_loses_no_reading_and_the_sitting_goes_on(browser: Browser, tmp_path: Path) -> None:
    loom = tmp_path / "tail"
    loom.mkdir()
    (loom / "wires.csv").write_text(TAIL)
    serving = start(loom, tmp_path)
    context = browser.new_context()
    page = entered(context, serving)
    for _ in range(3):
        give(page, true_value(pair(page)))
    acknowledged = items(page).count()
    ends = pair(page)
    serving.process.kill()
    serving.process.communicate()
    expect(page.get_by_role("alert")).to_contain_text("No connection", timeout=2500)
    page.get_by_role("textbox", name="What the meter shows").fill("0.2")
    page.get_by_role("textbox", name="What the meter shows").press("Enter")
    assert len(rows(loom)) == acknowledged == 3
    with served(loom, tmp_path, "--port", serving.host.rpartition(":")[2]):
        expect(items(page)).to_have_count(4, timeout=15000)
        assert (rows(loom)[3]["from"], rows(loom)[3]["to"]) == ends
        assert [path.name for path in (loom / "runs").iterdir()] == ["run-1"]
        give(page, true_value(pair(page)))
    context.close()


def test_the_leads_are_measured_before_the_first_reading(screen: Page, loom: Path) -> None:
    screen.get_by_label("Your leads").fill("0.3")
    screen.get_by_role("button", name="Note the leads").click()
    expect(screen.locator("#start")).to_be_hidden()
    assert 'what = "leads"' in (loom / "runs" / "run-1" / "run.toml").read_text()


def test_a_workshop_has_a_screen_for_each_loom(inside: BrowserContext, serving: Serving) -> None:
    for name in ("port", "Launch & stern"):
        (serving.folder / name).mkdir()
        (serving.folder / name / "wires.csv").write_text(TAIL)
    page = inside.new_page()
    page.goto(serving.base)
    page.get_by_role("link", name="Launch & stern").click()
    page.get_by_role("link", name="Measure", exact=True).first.click()
    expect(asked(page)).not_to_have_attribute("data-from", "")
    assert "/loom/Launch%20%26%20stern/measure" in page.url
    give(page, "0.2")
    assert len(rows(serving.folder / "Launch & stern")) == 1
    assert not (serving.folder / "port" / "runs").exists()
    page.close()


def test_a_thousand_readings_are_listed(inside: BrowserContext, serving: Serving, loom: Path) -> None:
    from loomtest.harness.load import load_harness
    from loomtest.readings.run import About, Reading, create_run
    from loomtest.web.place import now

    writer = create_run(loom / "runs" / "run-1", load_harness(loom), About(), clock=now)
    for number in range(1000):
        writer.record_later(Reading("X1:1", "X2:1", f"0.{200 + number % 9}"))
    writer.close("stopped")
    began_s = time.monotonic()
    page = inside.new_page()
    page.goto(f"{serving.base}/loom/{loom.name}/measure")
    expect(items(page)).to_have_count(1000)
    page.get_by_role("button", name="Go on measuring").click()
    expect(asked(page)).not_to_have_attribute("data-from", "")
    give(page, "OL")
    assert time.monotonic() - began_s < 20  # coarse: it must not hang
    page.close()
