"""`loomtest report`: the page for a customer, and the pages of a kept run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands.in_process import loomtest
from tests.evidence.example import TRACTOR


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tractor's last run, kept twice: with the run before the work, and without a page."""
    place = tmp_path_factory.mktemp("kept")
    (place / "shop.toml").write_text('name = "Slipway workshop"\n')
    how = ("--rehearsal", "--archive", str(place / "archive"))
    before = ("--before", str(TRACTOR / "1_before"), "--shop", str(place / "shop.toml"))
    for more in (before, ("--without-pages",)):
        done = loomtest("keep", str(TRACTOR / "3_final"), *how, *more, cwd=place)
        assert done.returncode == 0, done.stderr
    return place / "archive"


def in_order(archive: Path) -> list[Path]:
    """The bags as they were kept: two of one second do not sort by their names."""
    ledger = (archive / "tag-manifests.sha256").read_text("utf-8").splitlines()
    return [archive / line.partition("  ")[2].partition("/")[0] for line in ledger]


def test_the_page_carries_the_digest_of_the_kept_run(archive: Path, tmp_path: Path) -> None:
    runs = ("--before", str(TRACTOR / "1_before"), "--after", str(TRACTOR / "3_final"))
    done = loomtest("report", str(TRACTOR), *runs, "--archive", str(archive), "--out", "page", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "page" / "customer.html").read_text("utf-8")
    digest, _, name = (archive / "tag-manifests.sha256").read_text().splitlines()[-1].partition("  ")
    assert digest in page and name.partition("/")[0] in page and 'class="qr"' in page
    done = loomtest("report", str(TRACTOR), *runs, "--archive", "none", "--out", "page", cwd=tmp_path)
    assert done.returncode == 0 and "What stands behind" not in (tmp_path / "page/customer.html").read_text()


def test_a_run_kept_without_a_page_is_drawn_when_someone_asks(archive: Path, tmp_path: Path) -> None:
    last = in_order(archive)[-1]
    assert sum(f.stat().st_size for f in last.rglob("*") if f.is_file()) <= 60_000
    done = loomtest(
        "report",
        "--bag",
        "final",
        "--newest",
        "--archive",
        str(archive),
        "--out",
        "p",
        "--json",
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["files"] == ["p/report.html", "p/loom.svg", "p/loom.png", "p/verdict.json"]
    assert told["verdict"]["verdict"] == "pass"
    assert "Everything that was checked is right" in (tmp_path / "p" / "report.html").read_text("utf-8")


def test_the_pages_of_a_run_kept_with_the_one_before_are_all_drawn(archive: Path, tmp_path: Path) -> None:
    first = in_order(archive)[0]
    done = loomtest("report", "--bag", first.name, "--archive", str(archive), "--out", "p", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Slipway workshop" in (tmp_path / "p" / "customer.html").read_text("utf-8")
    several = loomtest("report", "--bag", "final", "--archive", str(archive), "--out", "p", cwd=tmp_path)
    assert several.returncode == 2 and "--newest" in several.stderr


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("tractor", "--out", "x"), "HARNESS and READINGS"),
        (("tractor", "a", "--bag", "b", "--out", "x"), "HARNESS and READINGS"),
        (("tractor", "--before", "a", "--out", "x"), "--before RUN and --after RUN"),
        (("tractor", "a", "--before", "a", "--after", "b", "--out", "x"), "HARNESS and READINGS"),
        (("tractor", "a"), "--out FOLDER"),
    ],
)
def test_what_does_not_go_together_is_said(tmp_path: Path, given: tuple[str, ...], said: str) -> None:
    done = loomtest("report", *given, cwd=tmp_path)
    assert done.returncode == 2 and said in done.stderr.replace("\n", " ")


def test_compare_offers_the_page(tmp_path: Path) -> None:
    runs = [str(TRACTOR / name) for name in ("1_before", "3_final")]
    done = loomtest("compare", str(TRACTOR), *runs, cwd=tmp_path)
    assert "loomtest report HARNESS --before RUN --after RUN" in done.stdout
