"""Every screen for everyone: by ear, by keyboard, on any width, with large letters, light and dark."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.tools import need_axe
from tests.web.screens import LOOM, SCREENS, made, open_screen
from tests.web.serving import Serving, served


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    place = tmp_path_factory.mktemp("everyone")
    with served(made(place), place, "--phone", "--address", "127.0.0.2") as serving:
        yield serving


@pytest.fixture(scope="module")
def page(browser: Browser, serving: Serving) -> Iterator[Page]:
    context = browser.new_context(bypass_csp=True)  # for axe alone, which is laid into the page
    page = context.new_page()
    page.goto(serving.key_address)
    yield page
    context.close()


@pytest.mark.parametrize("name", SCREENS)
def test_axe_finds_nothing_and_nothing_is_cut_off(page: Page, serving: Serving, name: str) -> None:
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    page.set_viewport_size({"width": 390, "height": 844})
    open_screen(page, serving.base, name)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.evaluate(need_axe())
        found: list[dict[str, Any]] = page.evaluate("axe.run().then((result) => result.violations)")
        told = [(each["id"], [node["html"][:160] for node in each["nodes"][:3]]) for each in found]
        assert told == [], scheme
    for width in (320, 768, 1920):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    page.set_viewport_size({"width": 640, "height": 800})
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert page.evaluate("document.documentElement.scrollWidth") <= 640, "large letters"


def test_axe_would_find_something(page: Page, serving: Serving) -> None:
    open_screen(page, serving.base, "looms")
    page.evaluate("document.body.append(document.createElement('input'))")
    page.evaluate(need_axe())
    found = page.evaluate("axe.run().then((result) => result.violations)")
    assert "label" in [each["id"] for each in found]


def test_a_reading_is_taken_with_the_keyboard_alone(page: Page, serving: Serving) -> None:
    page.set_viewport_size({"width": 1280, "height": 800})
    open_screen(page, serving.base, "measure")
    page.goto(f"{serving.base}/loom/{LOOM}/measure")
    next_touch = page.get_by_role("status", name="Next touch")
    expect(next_touch).not_to_have_attribute("data-from", "")
    page.keyboard.type("0.2")  # the field has the cursor from the start
    page.keyboard.press("Enter")
    rows = page.get_by_role("list", name="Readings so far").get_by_role("listitem")
    expect(rows).to_have_count(1)
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Take back":
            break
    page.keyboard.press("Enter")
    expect(rows.first).to_contain_text("taken back")


def test_the_first_load_is_small(page: Page, serving: Serving) -> None:
    sizes: list[int] = []
    page.on("response", lambda answer: sizes.append(len(answer.body())))
    page.goto(f"{serving.base}/loom/{LOOM}/measure")
    page.wait_for_load_state("networkidle")
    assert 10_000 < sum(sizes) <= 300_000
