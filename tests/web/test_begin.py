"""A new loom in a real browser: pasted notes, a dropped spreadsheet, a grid; nothing typed is lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.web.notepad import folder_name
from tests.web.serving import Serving, request, served

NOTES = "X1 1 red to X2 1\nX1 2 yellow to X2 2\nX1 3 green and then?\nX1 4 black to GND1\n"


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    place = tmp_path_factory.mktemp("begin")
    (place / "shop").mkdir()
    with served(place / "shop", place) as serving:
        yield serving


@pytest.fixture(scope="module")
def inside(browser: Browser, serving: Serving) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(serving.key_address)
    page.close()
    yield context
    context.close()


@pytest.fixture
def page(inside: BrowserContext, serving: Serving) -> Iterator[Page]:
    for left in serving.folder.glob("*.draft.json"):
        left.unlink()
    page = inside.new_page()
    page.goto(f"{serving.base}/new")
    yield page
    page.close()


def test_notes_are_read_as_they_are_typed_and_become_a_loom(page: Page, serving: Serving) -> None:
    page.get_by_label("What is it called?").fill("Tail of the cycle")
    page.get_by_label("Your notes, one wire a line").fill(NOTES)
    read = page.get_by_role("region", name="How each line was read")
    expect(read).to_contain_text("X1:2 yellow to X2:2")
    page.get_by_role("button", name="Make this loom").click()
    expect(page.locator("#made")).to_contain_text("Not read yet: line 3")
    read.get_by_role("button", name="Only a remark").click()
    expect(read).not_to_contain_text("not read")
    page.get_by_role("button", name="Make this loom").click()
    page.wait_for_url("**/loom/Tail%20of%20the%20cycle")
    folder = serving.folder / "Tail of the cycle"
    assert {(wire.start, wire.end) for wire in load_harness(folder).wires} >= {
        ("X1:1", "X2:1"),
        ("X1:4", "GND1"),
    }
    assert (folder / "notes.txt").read_text().split() == NOTES.split()
    assert "X1 3 green and then?" in (folder / "notes.answers.toml").read_text()


def test_a_line_that_is_no_wire_is_said_to_be_none(page: Page) -> None:
    page.get_by_label("Your notes, one wire a line").fill("X1 1 red to X2 1\nX1 2 red to X2 2\n")
    read = page.get_by_role("region", name="How each line was read")
    expect(read).to_contain_text("Read as 2 wires")
    read.get_by_role("button", name="Not a wire: line 2").click()
    expect(read).to_contain_text("Read as 1 wire")
    read.get_by_role("button", name="Undo: line 2").click()
    expect(read).to_contain_text("Read as 2 wires")


def test_what_was_typed_is_there_after_the_page_was_lost(
    page: Page, inside: BrowserContext, serving: Serving
) -> None:
    page.get_by_label("Your notes, one wire a line").fill("X1 1 red to X2 1")
    expect(page.locator("#kept")).to_have_text("Saved as you type.")
    other = inside.new_page()
    other.goto(f"{serving.base}/new")
    expect(other.get_by_label("Your notes, one wire a line")).to_have_value("X1 1 red to X2 1")
    other.close()


def test_a_spreadsheet_is_dropped_and_looked_through(page: Page, serving: Serving, tmp_path: Path) -> None:
    sheet = tmp_path / "stern_loom.csv"
    sheet.write_text("from;to;colour;size\nX1:1;X2:1;red;1,5\nX1:2;GND1;black;2,5\n")
    page.get_by_role("button", name="Use a spreadsheet").click()
    page.locator("#file").set_input_files(sheet)
    expect(page.get_by_label("Colour, row 2")).to_have_value("black")
    expect(page.get_by_label("What is it called?")).to_have_value("stern loom")
    page.get_by_role("button", name="Make this loom").click()
    page.wait_for_url("**/loom/stern%20loom")
    wires = load_harness(serving.folder / "stern loom").wires
    assert [(wire.start, wire.end, wire.size_mm2) for wire in wires] == [
        ("X1:1", "X2:1", 1.5),
        ("X1:2", "GND1", 2.5),
    ]


def test_a_file_that_is_no_spreadsheet_is_told_so(page: Page, tmp_path: Path) -> None:
    picture = tmp_path / "photo.jpg"
    picture.write_bytes(b"\xff\xd8\xff")
    page.get_by_role("button", name="Use a spreadsheet").click()
    page.locator("#file").set_input_files(picture)
    expect(page.locator("#made")).to_contain_text("expected a spreadsheet")


def test_the_grid_moves_pastes_and_takes_back(page: Page, serving: Serving) -> None:
    page.get_by_label("What is it called?").fill("By hand")
    page.get_by_role("button", name="Fill in a table").click()
    first = page.get_by_label("From, row 1")
    first.click()
    page.keyboard.type("X1:1")
    page.keyboard.press("ArrowRight")
    page.keyboard.type("X2:1")
    page.keyboard.press("Enter")
    expect(page.get_by_label("To, row 2")).to_be_focused()
    page.keyboard.press("ArrowLeft")
    page.evaluate(
        """() => {
        const data = new DataTransfer();
        data.setData("text/plain", "X1:2\\tX2:2\\tred\\nX1:3\\tX2:3\\tblue\\n");
        const how = {clipboardData: data, bubbles: true, cancelable: true};
        document.activeElement.dispatchEvent(new ClipboardEvent("paste", how));
        }"""
    )
    expect(page.get_by_label("Colour, row 3")).to_have_value("blue")
    page.keyboard.press("Control+z")
    expect(page.get_by_label("Colour, row 3")).to_have_value("")
    expect(page.get_by_label("To, row 1")).to_have_value("X2:1")
    page.get_by_role("button", name="Make this loom").click()
    page.wait_for_url("**/loom/By%20hand")
    assert len(load_harness(serving.folder / "By hand").wires) == 1


def test_a_row_that_cannot_be_is_named_and_nothing_is_written(page: Page, serving: Serving) -> None:
    page.get_by_label("What is it called?").fill("Wrong")
    page.get_by_role("button", name="Fill in a table").click()
    for label, text in (
        ("From, row 1", "X1:1"),
        ("To, row 1", "X2:1"),
        ("From, row 2", "X1:2"),
        ("To, row 2", "X1:2"),
    ):
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Make this loom").click()
    expect(page.locator("#made")).to_contain_text("line 2")
    assert not (serving.folder / "Wrong").exists()


def test_uploads_are_limited_and_hostile_ones_read_with_care(
    serving: Serving, inside: BrowserContext
) -> None:
    cookie = "; ".join(f"{each['name']}={each['value']}" for each in inside.cookies())
    headers = {"Cookie": cookie, "Origin": serving.base}
    large = request(serving, "POST", "/new/sheet?name=a.csv", headers, b"x" * 20_000_001)
    assert large.status == 413
    for name, content in (
        ("a.xlsx", b"PK\x03\x04" + b"\0" * 100),
        ("a.csv", b"\0\xff" * 500),
        ("../a.csv", b"x"),
        ("a.ods", b""),
    ):
        answer = request(serving, "POST", f"/new/sheet?name={name}", headers, content)
        assert answer.status == 200
        assert b"error" in answer.body
    for body in (
        b"",
        b"[]",
        b"{",
        b"[" * 100_000,
        b'{"rows": 3, "name": "x"}',
        b'{"rows": [[1]], "name": "../../x"}',
    ):
        answer = request(serving, "POST", "/new/make", headers, body)
        assert b"error" in answer.body, body
    assert not list(serving.folder.parent.glob("x*"))


@pytest.mark.parametrize("name", ["", " ", "..", "/", "con", "NUL.txt", "\0"])
def test_a_name_that_is_no_folder_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="expected a name for the loom"):
        folder_name(name)


def test_names_stay_inside_the_folder() -> None:
    assert folder_name("../../etc/passwd") == "etc_passwd"
    assert folder_name("Übergang: Heck") == "Übergang_ Heck"
