"""A kept run with the run before it: the customer's page in the bag, drawn again and compared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import bagit
import pytest

from loomtest.errors import InputError
from loomtest.evidence.archive import bag as archive_bag
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.keep import KeptRun, keep_run
from loomtest.evidence.archive.redraw import redrawn
from loomtest.evidence.page.shop import load_shop
from loomtest.readings.mended import Mended
from loomtest.readings.run import About, Reading, create_run
from tests.evidence.archive import kept

BOTH = "page and pictures drawn again, same result"


@pytest.fixture
def two(tmp_path: Path) -> tuple[Archive, Path, Path]:
    harness = kept.loom(tmp_path / "loom")
    before = kept.make_run(tmp_path / "before", harness, (0.1, 5.0))
    after = kept.make_run(tmp_path / "after", harness, (0.1, 0.2), 1)
    return Archive(tmp_path / "archive"), before, after


def keep_both(two: tuple[Archive, Path, Path], shop: Path | None = None) -> KeptRun:
    archive, before, after = two
    keeping = replace(kept.keeping("both"), before=before)
    if shop is not None:
        keeping = replace(keeping, shop=load_shop(shop))
    return keep_run(after, archive, keeping)


def test_both_runs_and_the_page_are_in_the_bag(two: tuple[Archive, Path, Path], tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "mine.toml").write_text('name = "Slipway"\nlogo = "l.svg"\n')
    (shop / "l.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 2 1"/>')
    bag = keep_both(two, shop / "mine.toml").folder
    for place, run in (("before", two[1]), ("run", two[2])):
        recorded = {name: data for name, data in kept.tree(run).items() if name != "run.lock"}
        assert kept.tree(bag / "data" / place) == recorded
    assert sorted(kept.tree(bag / "data" / "shop")) == ["l.svg", "shop.toml"]
    page = (bag / "data" / "report" / "customer.html").read_text("utf-8")
    assert "Slipway" in page and "The fault is fixed" in page and bag.name in page
    assert 'href="data/report/customer.html"' in (bag / archive_bag.OPENING).read_text("utf-8")
    assert bagit.Bag(str(bag)).validate()
    assert BOTH in redrawn(bag, kept.SIMPLE).said


@pytest.mark.parametrize(
    "name", ["data/report/customer.html", "open-this-first.html", "data/before/readings.csv"]
)
def test_what_was_put_in_before_the_bag_was_closed_is_found_by_drawing_again(
    two: tuple[Archive, Path, Path], name: str
) -> None:
    bag = keep_both(two).folder
    file = bag / name
    file.write_bytes(file.read_bytes().replace(b"5.0", b"0.3").replace(b"fixed", b"sound"))
    if name == "open-this-first.html":
        file.write_bytes(b"<h1>all is well</h1>")
    again = redrawn(bag, kept.SIMPLE)
    assert any(
        part in " ".join(again.wrong + again.unchecked) for part in ("customer.html", "open-this-first")
    )


def test_a_right_run_kept_without_pages_is_small_and_verifies(two: tuple[Archive, Path, Path]) -> None:
    archive, before, after = two
    right = keep_run(after, archive, replace(kept.keeping("right"), pages="when wrong"))
    wrong = keep_run(before, archive, replace(kept.keeping("wrong"), pages="when wrong"))
    assert not (right.folder / "data" / "report").exists()
    assert (wrong.folder / "data" / "report" / "report.html").is_file()
    assert kept.wrong(archive) == {}
    assert "No pages were drawn" in (right.folder / archive_bag.OPENING).read_text("utf-8")
    assert "kept without a page" in redrawn(right.folder, kept.SIMPLE).said


def test_a_run_of_what_was_mended_counts_with_what_still_stands_of_the_one_before(tmp_path: Path) -> None:
    harness = kept.loom(tmp_path / "loom")
    before = kept.make_run(tmp_path / "before", harness, (0.1, 5.0))
    about = About("after", mended=Mended("before", ("W2",)))
    with create_run(tmp_path / "after", harness, about, clock=lambda: kept.BEGIN) as writer:
        writer.record(Reading("X1:2", "X2:2", 0.2))
    archive = Archive(tmp_path / "archive")
    done = keep_run(tmp_path / "after", archive, replace(kept.keeping("mended"), before=before))
    assert done.verdict.verdict == "pass"
    assert [row.ohms for row in done.verdict.wires] == [0.1, 0.2]  # W2 as it is now, W1 as it was
    page = (done.folder / "data" / "report" / "customer.html").read_text("utf-8")
    assert "The fault is fixed" in page and "Worked on" in page
    assert BOTH in redrawn(done.folder, kept.SIMPLE).said
    elsewhere = kept.make_run(tmp_path / "other", harness)
    with pytest.raises(InputError, match="mended since before"):
        keep_run(tmp_path / "after", archive, replace(kept.keeping("wrong"), before=elsewhere))


def test_a_rehearsal_before_the_work_is_no_evidence(two: tuple[Archive, Path, Path], tmp_path: Path) -> None:
    archive, _, after = two
    about = About("before", rehearsal=True)
    with create_run(
        tmp_path / "play", kept.loom(tmp_path / "loom"), about, clock=lambda: kept.BEGIN
    ) as writer:
        writer.record(Reading("X1:2", "X2:2", 9.0))
    with pytest.raises(InputError, match="rehearsal"):
        keep_run(after, archive, replace(kept.keeping("play"), before=tmp_path / "play"))
