"""The report page: whole by itself, escaped, allowed to run nothing but its own script."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from loomtest.diagnosis.verdict import Finding, NetRow, Untested, Verdict
from loomtest.errors import InputError
from loomtest.evidence.page.measured import source_name
from loomtest.evidence.page.page import board_of, report_page, write_report
from loomtest.evidence.page.templates import parted
from loomtest.evidence.page.wires import axis_of, strip
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness, Wire
from loomtest.readings.load import load_readings
from loomtest.readings.model import Readings
from loomtest.words.cautions import CAUTIONS
from tests.evidence import example

NASTY = "<script>document.title='owned'</script>\"'&<img src=x onerror=alert(1)>\x1b[31m\u202e\x00"


class Page(HTMLParser):
    """Tags with attributes, and all text outside style and script."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text = ""
        self.raw: dict[str, str] = {"style": "", "script": ""}
        self._inside: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        self.text += " "
        if tag in self.raw:
            self._inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self._inside and self._inside[-1] == tag:
            self._inside.pop()

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.raw[self._inside[-1]] += data
        else:
            self.text += data.replace("\N{NO-BREAK SPACE}", " ")

    def of(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]


def made(harness: Harness, verdict: Verdict, readings: Readings | None = None) -> Page:
    readings = readings or load_readings(example.TRACTOR / "1_before", example.tractor())
    return Page(report_page(harness, readings, verdict, readings.instrument, board_of(harness, verdict)))


@pytest.fixture(scope="module")
def page() -> Page:
    harness = example.tractor()
    return made(harness, example.verdict(harness))


def test_the_policy_allows_exactly_the_style_and_script_that_are_there(page: Page) -> None:
    policy = next(m["content"] for m in page.of("meta") if m.get("http-equiv") == "Content-Security-Policy")
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    for kind in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(page.raw[kind].encode()).digest()).decode()
        assert rules[f"{kind}-src"] == f"'sha256-{digest}'"
    assert "unsafe" not in policy
    assert "http" not in policy


def test_nothing_is_fetched_and_nothing_runs_from_an_attribute(page: Page) -> None:
    for tag, attributes in page.tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "form", "base")
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name not in ("style", "src", "srcset", "action")
            if name == "href":  # from the first page to the fault in the list
                assert value.startswith("#")
                assert value[1:] in {at.get("id") for _, at in page.tags}
            if name != "xmlns":
                assert "//" not in value
    assert "url(" not in page.raw["style"]
    assert "@import" not in page.raw["style"]


def test_what_a_file_says_is_shown_as_text_everywhere() -> None:
    harness = Harness(
        NASTY,
        (Wire(NASTY, "X1:1", NASTY, colour=NASTY, circuit=NASTY, note=NASTY),),
        ("X1:1", NASTY),
        places={"X1": NASTY, NASTY: NASTY},
    )
    verdict = replace(
        example.verdict(example.tractor()),
        harness=NASTY,
        findings=(Finding("open", ("X1:1", NASTY), text=NASTY, consequence=NASTY, next=NASTY),),
        wires=(
            replace(
                example.verdict(example.tractor()).wires[0], wire=NASTY, start="X1:1", end=NASTY, next=NASTY
            ),
        ),
        nets=(NetRow(NASTY, ("X1:1", NASTY), "fail"),),
        untested=(Untested((NASTY, "X1:1"), "continuity"),),
        notes=(NASTY,),
    )
    readings = load_readings(example.TRACTOR / "1_before", example.tractor())
    readings = replace(readings, source=NASTY, run=replace(readings.run, notes=NASTY, operator=NASTY))
    page = made(harness, verdict, readings)
    assert len(page.of("script")) == 1
    assert "owned" not in page.raw["script"]
    assert not page.of("img")
    assert page.text.count("<script>document.title='owned'") > 10
    assert not re.search(r"[\x00-\x08\x0b-\x1f\u202a-\u202e]", page.text)


def test_the_answer_comes_first_and_everything_asked_for_is_there(page: Page) -> None:
    order = [
        "Not right yet: 4 faults found", "What it means", "What was looked at",
        "The loom", "Faults, the most dangerous first",
        "Doubtful: the readings", "Not measured", "Every circuit, with the worst", "Wires and their joints",
        "How it was measured", "Limits used", "Before power goes on",
    ]  # fmt: skip
    places = [page.text.index(words) for words in order]
    assert places == sorted(places)
    for caution in CAUTIONS:
        assert caution in page.text
    assert "It does not say that the vehicle is safe" in page.text
    assert "bench meter, four-wire ohms" in page.text
    assert "JCGM 106:2012" in page.text
    assert "At 9.7 A, 3.7 V are lost and 36 W heat the joint." in page.text


def test_every_net_and_wire_has_its_row_with_the_worst_first(page: Page) -> None:
    harness = example.tractor()
    verdict = example.verdict(harness)
    for net in verdict.nets:
        assert net.net in page.text
    wires = page.text[page.text.index("Wires and their joints") :]
    for row in verdict.wires:
        assert re.search(rf"\b{row.wire}\b", wires)
    wires = wires[wires.index("Answer") :]
    assert wires.index("at fault") < wires.index("as it should be")


def test_limits_say_where_they_come_from() -> None:
    harness = example.tractor()
    harness = replace(harness, limits=replace(harness.limits, bad_joint_milliohms=35.0))
    text = made(harness, example.verdict(harness)).text
    assert "at most 35 mΩ above a healthy wire (from bad_joint_milliohms, set in harness.toml)" in text
    assert "below 100 Ω (default; common practice)" in text


def test_headings_tables_and_regions_can_be_told_by_ear(page: Page) -> None:
    assert page.of("html")[0]["lang"] == "en"
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in page.tags:
        for name in attributes.get("aria-labelledby", "").split():
            assert name in ids
    assert len(page.of("table")) == len(page.of("caption"))
    assert all("scope" in th for th in page.of("th"))
    for svg in page.of("svg"):
        assert svg.get("role") == "img" or svg.get("aria-hidden") == "true"


def test_the_strip_puts_a_value_on_its_side_of_the_limit() -> None:
    harness = example.tractor()
    rows = {row.wire: row for row in example.verdict(harness).wires}
    axis = axis_of(list(rows.values()))

    def places(wire: str) -> tuple[float, float]:
        svg = strip(rows[wire], axis)
        lines = [float(m[1]) for m in re.finditer(r'points="([\d.]+),2 ', svg)]
        signs = [float(m[1]) for m in re.finditer(r'<circle cx="([\d.]+)"', svg)]
        signs += [float(m[1]) + 5 for m in re.finditer(r'<polygon points="([\d.]+),5 ', svg)]
        assert len(lines) == len(signs) == 1
        return signs[0], lines[0]

    for wire, above in (("W1", False), ("W20", True), ("W4", True)):
        sign, limit = places(wire)
        assert (sign > limit) is above


def test_a_large_loom_says_what_it_leaves_out() -> None:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 701))
    points = tuple(p for w in wires for p in (w.start, w.end))
    harness = Harness("big", wires, points)
    base = example.verdict(example.tractor()).wires[0]
    rows = tuple(
        replace(
            base, wire=w.name, start=w.start, end=w.end, verdict="fail" if i == 699 else "pass",
            ohms=0.009 if i == 650 else 0.005, limit_ohms=0.010,
        )
        for i, w in enumerate(wires)
    )  # fmt: skip
    nets = tuple(NetRow(w.name, (w.start, w.end), "pass") for w in wires)
    verdict = replace(example.verdict(example.tractor()), wires=rows, nets=nets, findings=())
    page = made(harness, verdict)
    assert "And 639 wires, all as they should be." in page.text
    assert "And 640 circuits, all as they should be." in page.text
    table = page.text[page.text.index("Each wire with its two joints") :]
    assert re.findall(r"\bW\d+\b", table)[:3] == ["W700", "W651", "W1"]  # at fault, nearest to its limit


def test_of_thousands_that_nobody_measured_the_page_holds_a_thousand() -> None:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 3001))
    harness = Harness("huge", wires, tuple(p for w in wires for p in (w.start, w.end)))
    base = example.verdict(example.tractor()).wires[0]
    rows = tuple(
        replace(base, wire=w.name, start=w.start, end=w.end, ohms=None, verdict="untested") for w in wires
    )
    verdict = replace(example.verdict(example.tractor()), wires=rows, nets=(), findings=(), undecided=())
    assert "And 2,000 wires more that are not, in verdict.json." in made(harness, verdict).text


def test_the_first_page_counts_the_wires_and_says_what_the_faults_mean(page: Page) -> None:
    first = page.text[: page.text.index("The loom")]
    assert "6 at fault" in first  # of 23: those of the four findings
    assert "1 doubtful" in first
    assert "16 as it should be" in first
    assert "A wire is broken or not connected between X1 (bulkhead, left of the battery) and X4" in first
    assert "Ω" not in first
    assert "Wires measured from end to end: 23 of 23." in first
    assert "Pairs of circuits checked for shorts: 208 of 210." in first


def test_the_folders_of_the_workshop_stay_its_own_affair(tmp_path: Path) -> None:
    harness = load_harness(example.LAUNCH)
    assert harness.warnings
    readings = load_readings(example.LAUNCH / "1_first.csv", harness)
    text = made(harness, replace(example.verdict(example.tractor()), findings=()), readings).text
    assert str(example.LAUNCH) not in text
    assert "wires.csv, line 7" in text
    assert "from 1_first.csv" in text
    for source in (r"C:\bench\mine\run 7", "/home/bench/run 7/", "run 7"):
        assert source_name(replace(readings, source=source)) == "run 7"


def test_a_run_of_letters_too_long_for_a_column_can_break() -> None:
    assert parted("a" * 50) == "a" * 24 + "<wbr>" + "a" * 24 + "<wbr>" + "aa"
    assert parted("a" * 24) == "a" * 24
    assert parted("<b>&" * 10).count("&lt;") == 10


def test_the_folder_holds_page_pictures_and_verdict(tmp_path: Path) -> None:
    harness = example.tractor()
    readings = load_readings(example.TRACTOR / "1_before", harness)
    verdict = example.verdict(harness)
    paths = write_report(harness, readings, verdict, tmp_path / "a" / "b")
    assert sorted(p.name for p in paths) == ["loom.png", "loom.svg", "report.html", "verdict.json"]
    assert json.loads(paths[3].read_text(encoding="utf-8")) == verdict.to_json()
    again = write_report(harness, readings, verdict, tmp_path / "c")
    assert [p.read_bytes() for p in paths] == [p.read_bytes() for p in again]
    with pytest.raises(InputError, match="expected a folder"):
        write_report(harness, readings, verdict, paths[0])
