"""The history of kept runs: trend, forecast, words, tables and the plot."""

from __future__ import annotations

import csv
import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.history import (
    DAYS_PER_YEAR,
    _trend,
    date_of,
    history_json,
    history_of,
    runs_table,
)
from loomtest.evidence.archive.index import Wanted, WireOhms
from loomtest.evidence.archive.plot import history_plot, write_history_plot
from loomtest.evidence.archive.trend import FURTHEST_SPANS, forecast, theil_sen
from loomtest.evidence.archive.words import history_lines, trend_words
from loomtest.evidence.tablefile import write_csv
from loomtest.harness.outward import sheet_cell
from loomtest.readings.model import Instrument, Quantity
from tests.diagnosis.joints.joint_readings import harness_of, readings_of, report_of, wire
from tests.evidence.archive import kept

numbers = st.one_of(st.integers(0, 6).map(float), st.floats(-1e3, 1e3).map(lambda x: round(x, 6)))


@given(st.lists(st.tuples(numbers, numbers), min_size=2, max_size=25))
def test_the_trend_is_that_of_scipy(points: list[tuple[float, float]]) -> None:
    x, y = np.array(points).T
    trend = theil_sen(x, y)
    if len(set(x.tolist())) < 2:
        assert trend is None
        return
    assert trend is not None
    with np.errstate(invalid="ignore"):  # ties can leave scipy a variance below zero: it has no interval then
        slope, intercept, low, high = theilslopes(y, x, 0.95)
    assume(np.isfinite(low))
    assert (trend.slope, trend.low, trend.high) == pytest.approx((slope, low, high))
    assert trend.intercept == pytest.approx(intercept, abs=1e-9 * max(1.0, abs(slope) * np.abs(x).max()))


def test_a_fifth_of_wild_values_does_not_move_the_trend() -> None:
    x = np.arange(20.0)
    y = 0.05 + 0.001 * x
    y[[3, 8, 12, 19]] = [4.0, 0.0, 9.0, 2.0]
    trend = theil_sen(x, y)
    assert trend is not None
    assert trend.slope == pytest.approx(0.001, rel=0.05)


def test_the_limit_is_passed_where_the_line_meets_it() -> None:
    x = np.arange(0.0, 800.0, 100.0)
    trend = theil_sen(x, 0.010 + 1e-5 * x)
    assert trend is not None
    passes = forecast(x, trend, 0.030)
    assert passes is not None
    assert (passes.about, passes.earliest, passes.latest) == pytest.approx((2000.0, 2000.0, 2000.0))


def test_the_forecast_covers_the_truth_as_often_as_its_interval_says() -> None:
    """Simulated rises with noise: the true date lies within the stated one in about 95 % of cases."""
    random = np.random.default_rng(3)
    x = np.arange(0.0, 1200.0, 100.0)
    inside = said = 0
    for _ in range(400):
        y = 0.010 + 1e-5 * x + random.normal(0, 5e-4, len(x))
        trend = theil_sen(x, y)
        passes = forecast(x, trend, 0.030) if trend else None
        if passes is not None:
            said += 1
            inside += passes.earliest <= 2000.0 <= passes.latest
    assert said > 380
    assert 0.92 < inside / said < 0.99  # of the slope alone: the level has an error too


@pytest.mark.parametrize(
    ("days", "ohms", "limit"),
    [
        ([0, 100, 200, 300], [0.01, 0.02, 0.03, 0.04], 0.06),  # four runs
        ([0, 100, 200, 300, 400, 500], [0.02, 0.01, 0.03, 0.01, 0.02, 0.02], 0.06),  # no trend
        ([0, 100, 200, 300, 400, 500], [0.06, 0.05, 0.04, 0.03, 0.02, 0.01], 0.06),  # it falls
        ([0, 100, 200, 300, 400, 500], [0.02, 0.03, 0.04, 0.05, 0.06, 0.07], 0.06),  # above it already
        ([0, 1, 2, 3, 4, 5], [0.010, 0.011, 0.012, 0.013, 0.014, 0.015], 0.1),  # too far ahead
        ([0, 0, 0, 0, 0, 100], [0.01, 0.01, 0.01, 0.01, 0.01, 0.02], 0.06),  # two days only
    ],
)
def test_where_the_interval_does_not_support_it_no_date_is_given(
    days: list[float], ohms: list[float], limit: float
) -> None:
    x, y = np.array(days, dtype=float), np.array(ohms)
    trend = theil_sen(x, y)
    assert trend is not None
    assert forecast(x, trend, limit) is None
    assert FURTHEST_SPANS < 10


def rising(folder: Path, ohms: list[float], every_days: float = 90.0) -> Archive:
    loom, archive = kept.loom(folder / "loom"), Archive(folder / "archive")
    for number, value in enumerate(ohms):
        day = number * every_days
        run = kept.make_run(folder / f"run{number}", loom, (0.05, value), day)
        kept.keep(archive, run, f"id{number}", day)
    return archive


def test_a_circuit_that_rises_is_told_with_its_date(tmp_path: Path) -> None:
    history = history_of(rising(tmp_path, [0.30, 0.36, 0.42, 0.48, 0.54, 0.60]))
    course = history.courses[0]
    assert (course.circuit, course.wires, course.limit_ohms) == ("lamp", "W2", 1.0)
    assert course.ohms == (0.30, 0.36, 0.42, 0.48, 0.54, 0.60)
    assert course.trend is not None
    assert course.trend.slope == pytest.approx(0.06 / 90)
    words = trend_words(course)
    # six steps of 0.06 ohm and 90 days from 0.60 to 1.00 ohm, counted on from the last run
    expected = date(2026, 5, 1).toordinal() + 5 * 90 + 40 / 6 * 90
    assert f"will pass its limit about {date.fromordinal(int(expected))}" in words
    assert words.startswith("rises 0.24 Ω a year")
    assert history.courses[1].passes is None
    text = "\n".join(line.text for line in history_lines(history))
    assert "lamp (W2): 0.3 Ω at first, now 0.6 Ω, limit 1 Ω" in text
    assert "no trend shown by 6 runs" in text


def test_over_a_few_days_no_rate_a_year_is_given(tmp_path: Path) -> None:
    history = history_of(rising(tmp_path, [0.30, 0.31, 0.32, 0.33, 0.34], 2.0))
    assert trend_words(history.courses[0]).startswith("rose 40 mΩ in 8 days")


def test_fewer_than_five_runs_show_no_trend(tmp_path: Path) -> None:
    history = history_of(rising(tmp_path, [0.30, 0.40, 0.50, 0.60]))
    assert trend_words(history.courses[0]) == ""
    assert history_json(history)["courses"][0]["trend_ohms_per_year"] is None


def test_a_run_that_was_kept_twice_counts_once(tmp_path: Path) -> None:
    archive = rising(tmp_path, [0.30, 0.36])
    kept.keep(archive, tmp_path / "run1", "again", 100.0)
    history = history_of(archive)
    assert len(history.runs) == 3
    assert history.courses[0].ohms == (0.30, 0.36)


def test_runs_are_told_by_harness_and_one_harness_alone(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 3)
    assert [run.harness for run in history_of(archive, Wanted(harness="fishing launch, invented")).runs] == [
        "fishing launch, invented"
    ]
    lines = [line.text for line in history_lines(history_of(archive))]
    assert lines[0] == "orchard tractor, invented"
    assert lines[1].split() == ["2026-05-01", "after", "pass", "no", "faults", "A.", "Nobody"]
    assert lines[2].split()[:5] == ["2026-05-02", "after", "fail", "1", "fault"]
    assert any("2.2 Ω, limit 1 Ω: above it" in line for line in lines)
    with pytest.raises(ArchiveError, match="orchard tractor"):
        history_of(archive, Wanted(harness="something else"))
    with pytest.raises(ArchiveError, match="no archive"):
        history_of(Archive(tmp_path / "none"))


def test_the_object_is_plain_json_with_dates(tmp_path: Path) -> None:
    found = history_json(history_of(rising(tmp_path, [0.30, 0.36, 0.42, 0.48, 0.54, 0.60])))
    assert found["schema"] == "loomtest-history/1"
    first = found["courses"][0]
    assert first["dates"][:2] == ["2026-05-01", "2026-07-30"]
    assert first["trend_ohms_per_year"] == pytest.approx(0.06 / 90 * DAYS_PER_YEAR, rel=1e-5)
    assert set(first["passes_limit"]) == {"about", "earliest", "latest"}
    assert [run["verdict"] for run in found["runs"]] == ["pass"] * 6


def test_a_missing_or_damaged_bag_does_not_stop_the_history(tmp_path: Path) -> None:
    archive = kept.filled(tmp_path, 2)
    (archive.folder / archive.entries()[0].folder / "data" / "verdict.json").write_text("{")
    (archive.folder / "index.sqlite").unlink()
    history = history_of(archive)
    assert [run.verdict for run in history.runs] == ["", "pass", "fail"]
    assert history_lines(history)


@pytest.mark.parametrize(
    "cell",
    [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\n=1",
        "  =1",
        "\u3000=1",
        "|calc",
        "%0A",
        "＝1",
        "＋1",
        "－1",
        "＠1",
    ],
)
def test_a_cell_that_a_spreadsheet_would_run_is_guarded(cell: str) -> None:
    assert sheet_cell(cell) == "'" + cell


@pytest.mark.parametrize(
    "cell", ["", "before", "0.42", "-0.03", "+5", "1e-3", "-1.5E+3", "2026-05-01T12:00:00+02:00"]
)
def test_other_cells_and_numbers_are_left(cell: str) -> None:
    assert sheet_cell(cell) == cell


def test_the_table_guards_what_came_from_a_file(tmp_path: Path) -> None:
    loom = kept.loom(tmp_path / "loom", "=HYPERLINK(evil)")
    archive = Archive(tmp_path / "archive")
    kept.keep(archive, kept.make_run(tmp_path / "run", loom), "one")
    assert len(history_of(archive).runs) == 1
    write_csv(runs_table(archive), tmp_path / "runs.csv")
    with (tmp_path / "runs.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows[0]["harness"] == "'=HYPERLINK(evil)"
    assert rows[0]["operator"] == "A. Nobody"


def test_the_plot_shows_every_value_its_limit_and_the_trend(tmp_path: Path) -> None:
    history = history_of(rising(tmp_path, [0.30, 0.45, 0.60, 0.75, 0.90, 1.10]))
    picture = history_plot(history)
    dots = [item for item in picture.items if type(item).__name__ == "Dot" and getattr(item, "title", "")]
    assert len(dots) == 11  # twelve values, of which one is above its limit and square
    assert "lamp: rises" in picture.text
    assert all(math.isfinite(dot.x) and math.isfinite(dot.y) for dot in dots)
    paths = write_history_plot(history, tmp_path / "out")
    assert [path.name for path in paths] == ["history.png", "history.svg"]
    assert paths[0].read_bytes().startswith(b"\x89PNG")
    assert "<svg" in paths[1].read_text("utf-8")


def test_the_plot_of_a_single_run_and_of_none_can_be_drawn(tmp_path: Path) -> None:
    history = history_of(rising(tmp_path, [0.30]))
    assert history_plot(history).items
    assert "no resistance known" in history_plot(history.__class__(history.runs, ())).text


def test_dates_count_from_the_year_2000() -> None:
    assert date_of(0.0) == "2000-01-01"
    assert date_of(366.0) == "2001-01-01"


YEARS = np.arange(12) * 182.625 / DAYS_PER_YEAR


def followed(rises: tuple[float, ...], random: np.random.Generator) -> list[list[WireOhms]]:
    """Twelve judged runs of three wires, half a year apart; the leads' zero, known to 30 mΩ, is off by 5 mΩ
    anew in each run, every reading by 1 mΩ. One list of rows a wire."""
    harness = harness_of([wire(f"W{i}", f"X1:{i}", f"X2:{i}", 6.0) for i in range(1, len(rises) + 1)])
    meter = Instrument("leads zeroed each time", lead_ohms=0.0, lead_uncertainty_ohms=0.03)
    rows: list[list[WireOhms]] = [[] for _ in rises]
    for number, year in enumerate(YEARS.tolist()):
        zero = random.normal(0, 0.005)
        read = [
            (f"X1:{i}", f"X2:{i}", 0.1175 + rise * year + zero + random.normal(0, 0.001))
            for i, rise in enumerate(rises, 1)
        ]
        report = report_of(harness, readings_of(harness, read, 0.001, Quantity.RESISTANCE), meter)
        for row, own in zip(report.rows, rows, strict=True):
            assert row.ohms is not None
            own.append(WireOhms(number, row.wire, "", row.ohms, None, row.limit_ohms, row.measured_ohms))
    return rows


def test_one_ground_that_rises_does_not_draw_the_others_along() -> None:
    """With the values of the estimate the others fall as the one rises: the run's zero moves with it."""
    random = np.random.default_rng(7)
    slopes = []
    for _ in range(12):
        wires = followed((0.0, 0.0, 0.0036), random)
        trends = [_trend(YEARS, np.array([row.ohms for row in rows]), rows) for rows in wires]
        assert all(trend is not None for trend in trends)
        slopes.append([trend.slope for trend in trends if trend is not None])
    middle, spread = np.mean(slopes, axis=0), np.std(slopes, axis=0) / math.sqrt(12)
    assert np.all(np.abs(middle - [0.0, 0.0, 0.0036]) < 4 * spread + 1e-5)


@pytest.mark.parametrize("rise", [0.0, 0.0036])
def test_the_interval_of_a_trend_holds_the_truth_in_95_of_100_histories(rise: float) -> None:
    random = np.random.default_rng(11)
    inside = 0
    for _ in range(500):
        common, own = random.normal(0, 0.005, 12), random.normal(0, 0.001, 12)
        trend = theil_sen(YEARS, 0.0225 + rise * YEARS + common + own)
        assert trend is not None
        inside += trend.low <= rise <= trend.high
    assert 465 <= inside <= 485
