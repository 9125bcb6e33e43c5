"""The page for the customer in a real browser: what it says, how it prints, and that nothing leaves it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.change.change import Side
from loomtest.evidence.page.customer import Delivered, Seal, customer_page, write_customer
from loomtest.evidence.page.shop import NO_SHOP, Shop, load_shop
from loomtest.harness.model import Harness
from loomtest.readings.load import load_readings
from loomtest.readings.mended import Mended
from loomtest.words.verdict import judge
from tests.browser import Tab, browser
from tests.evidence import example
from tests.looms.faults import Fault, Loom, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness
from tests.looms.measure import continuity_pairs, isolation_pairs, measure
from tests.looms.scenario import all_visible, fits
from tests.tools import need_axe

SEAL = Seal(bag="20260314-orchard-tractor-final-1a2b", digest="0123456789abcdef" * 4)


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="module")
def runs() -> tuple[Harness, dict[str, Side]]:
    harness = example.tractor()
    loaded = {
        name: load_readings(example.TRACTOR / name, harness) for name in ("1_before", "2_after", "3_final")
    }
    return harness, {name: Side(one, judge(harness, one)) for name, one in loaded.items()}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "shop.toml").write_text('name = "Slipway workshop"\nlines = ["Harbour 3"]\nlogo = "l.svg"\n')
    (folder / "l.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10"><script>document.title="owned"</script>'
        '<rect width="20" height="10" fill="#246"/></svg>'
    )
    return load_shop(folder / "shop.toml")


def made(runs: tuple[Harness, dict[str, Side]], before: str, after: str, **more: object) -> Delivered:
    return Delivered(harness=runs[0], before=runs[1][before], after=runs[1][after], **more)  # type: ignore[arg-type]


def text_of(tab: Tab, page: Path) -> str:
    tab.open(page)
    return str(tab.run("document.body.innerText")).replace("\N{NO-BREAK SPACE}", " ")


def pages(tab: Tab, page: Path, out: Path, paper: tuple[float, float] = (8.27, 11.69)) -> int:
    tab.open(page)
    tab.print(out, paper)
    return len(re.findall(rb"/Type\s*/Page\b", out.read_bytes()))


def test_it_says_what_was_wrong_what_is_now_and_who_says_so(
    tmp_path: Path, tab: Tab, runs: tuple[Harness, dict[str, Side]], shop: Shop
) -> None:
    page = write_customer(made(runs, "1_before", "3_final", shop=shop, seal=SEAL), tmp_path)
    text = text_of(tab, page)
    assert "All 4 faults are fixed, and everything that was measured is right." in text
    assert text.count("Fixed.") == 4
    assert "0.22 Ω before, apart: over-range" in text
    assert "rear ground ring replaced, stud wire-brushed" in text  # the workshop's notes
    assert "Slipway workshop" in text and "Harbour 3" in text
    assert SEAL.digest in text.replace("\n", "") and SEAL.bag in text
    assert "It does not say that the vehicle is safe" in text
    assert "REHEARSAL" in text
    told = tab.run("[...document.querySelectorAll('.fault, .circuit, .say')].map(e => e.innerText).join(' ')")
    assert not re.search(r"\b(X\d|GND\d|SP\d|W\d+)\b", told)  # no code where a name is known
    assert tab.run("document.title") != "owned" and tab.messages == []
    assert tab.run("document.querySelector('img.logo').naturalWidth > 0")


def test_what_is_left_or_new_is_never_called_fixed(
    tmp_path: Path, tab: Tab, runs: tuple[Harness, dict[str, Side]]
) -> None:
    left = text_of(tab, write_customer(made(runs, "1_before", "2_after"), tmp_path / "left"))
    assert "Not proven yet: 1 fault is not shown to be fixed." in left and left.count("Fixed.") == 3
    assert left.count("rear ground") < 4  # the doubt about the same wire is not told twice
    new = text_of(tab, write_customer(made(runs, "3_final", "1_before"), tmp_path / "new"))
    assert "Not right yet: 4 faults are left." in new and new.count("New.") == 4 and "Fixed." not in new
    none = text_of(tab, write_customer(made(runs, "3_final", "3_final"), tmp_path / "none"))
    assert "The first measurement found nothing wrong." in none


def test_what_the_run_after_says_was_mended_is_told(runs: tuple[Harness, dict[str, Side]]) -> None:
    after = runs[1]["3_final"]
    assert after.readings.run is not None
    facts = Mended("1_before", ("W20",), ("X2:3", "X2:4")).facts()
    run = replace(after.readings.run, raw={**after.readings.run.raw, "mended": facts})
    side = replace(after, readings=replace(after.readings, run=run))
    text = customer_page(replace(made(runs, "1_before", "3_final"), after=side))
    assert "What was done" in text and "The wires were worked on at front lamps, behind the grille" in text
    assert "What was done" not in customer_page(made(runs, "1_before", "3_final"))


def test_it_prints_on_one_page_and_its_circuits_on_a_second(
    tmp_path: Path, tab: Tab, runs: tuple[Harness, dict[str, Side]], shop: Shop
) -> None:
    page = write_customer(made(runs, "1_before", "3_final", shop=shop, seal=SEAL), tmp_path)
    assert pages(tab, page, tmp_path / "a4.pdf") <= 2
    assert pages(tab, page, tmp_path / "letter.pdf", (8.5, 11)) <= 2


def test_two_hundred_wires_are_a_page_and_an_appendix_of_two(tmp_path: Path, tab: Tab) -> None:
    rng = np.random.default_rng(5)
    harness = random_harness(rng, Recipe(wires=200, unreachable=0.2, parts=False))
    right = healthy_loom(harness, rng)
    bad = with_faults(right, rng, "open", "short", "crossed", "joint")

    def side(loom: Loom) -> Side:
        pairs = continuity_pairs(harness) + isolation_pairs(harness, "neighbours")
        readings = measure(loom, pairs, rng)
        return Side(readings, judge(harness, readings))

    page = write_customer(Delivered(harness=harness, before=side(bad), after=side(right)), tmp_path)
    assert pages(tab, page, tmp_path / "a4.pdf") <= 3
    tab.open(page)
    circuits = sum(len(net.points) > 1 for net in harness.nets)
    assert tab.run("document.querySelectorAll('.circuit').length") == circuits


def with_faults(right: Loom, rng: np.random.Generator, *kinds: str) -> Loom:
    found: list[Fault] = []
    for kind in kinds:
        for _ in range(50):
            fault = random_fault(right, rng, kind)
            if (
                fault
                and fits(right.harness, found, fault, False)
                and all_visible(right.with_faults([*found, fault]))
            ):
                found.append(fault)
                break
    assert len(found) == len(kinds)
    return right.with_faults(found)


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_axe_finds_nothing_and_no_width_scrolls_sideways(
    tmp_path: Path, tab: Tab, runs: tuple[Harness, dict[str, Side]], shop: Shop, width: int, dark: bool
) -> None:
    page = write_customer(made(runs, "1_before", "2_after", shop=shop, seal=SEAL), tmp_path)
    tab.open(page, width, dark)
    assert tab.run("document.documentElement.scrollWidth") == width
    tab.run(need_axe() + ";0")
    script = """axe.run().then(found => JSON.stringify(
        found.violations.map(rule => [rule.id, rule.help, rule.nodes[0].html])))"""
    assert json.loads(tab.run(script)) == []


def test_texts_of_a_stranger_stay_texts(
    tmp_path: Path, tab: Tab, runs: tuple[Harness, dict[str, Side]]
) -> None:
    harness, sides = runs
    nasty = "<script>document.title='owned'</script><img src=x onerror=\"document.title='owned'\">"
    loom = replace(
        harness,
        name=nasty,
        places={"X1": nasty},
        wires=tuple(replace(w, circuit=nasty) for w in harness.wires),
    )
    shop = replace(NO_SHOP, name=nasty, lines=(nasty,))
    page = write_customer(
        Delivered(harness=loom, before=sides["1_before"], after=sides["3_final"], shop=shop), tmp_path
    )
    tab.open(page)
    assert tab.run("document.querySelectorAll('script, main img').length") == 0
    assert "owned" in tab.run("document.title") and tab.run("document.title") != "owned"
    assert tab.messages == []
