"""Many units out of an archive, held against the runs that it was made of; on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from loomtest.errors import ArchiveError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Wanted
from loomtest.evidence.archive.unitjson import units_object
from loomtest.evidence.archive.units import _latest, unit_rows, units_of
from loomtest.readings.model import Job
from loomtest.readings.run import About, Reading, create_run
from tests.evidence.archive.kept import BEGIN, keep, loom
from tests.evidence.archive.many import HARNESS, made_runs, many

COUNT = 600
LOOM = Wanted(harness=HARNESS)


@pytest.fixture
def archive(tmp_path: Path, index_at: str | None) -> Archive:
    return many(tmp_path / "archive", COUNT, index_at)


def test_yield_and_faults_are_those_of_the_runs(archive: Archive) -> None:
    runs = list(made_runs(COUNT))
    tries: dict[str, list[str]] = {}
    faults: Counter[tuple[str, str]] = Counter()
    for run in runs:
        tries.setdefault(run.info["Unit"], []).append(run.verdict["verdict"])
        for found in run.verdict["findings"]:
            faults[found["fault"], " ".join(found["points"])] += 1  # nobody here fails twice
    kept = units_of(archive, LOOM)
    right = kept.units.right
    assert (right.first.total, right.first.count) == (
        len(tries),
        sum(each[0] == "pass" for each in tries.values()),
    )
    assert right.last.count == sum(each[-1] == "pass" for each in tries.values())
    assert right.first.count < right.last.count <= right.last.total < COUNT
    told = {(one.fault, " ".join(one.points)): one.units.count for one in kept.units.faults}
    assert told == dict(faults)
    assert [one.units.count for one in kept.units.faults] == sorted(faults.values(), reverse=True)
    assert not kept.rehearsed
    assert [kept.first_day, kept.last_day] == [runs[0].info["Kept"][:10], runs[-1].info["Kept"][:10]]


def test_only_sound_units_make_limits_and_each_unit_counts_once(archive: Archive) -> None:
    last = {run.info["Unit"]: run for run in made_runs(COUNT)}  # the last try of each
    sound = [run for run in last.values() if run.verdict["verdict"] == "pass"]
    values = np.array([run.verdict["wires"][4]["measured_ohms"] for run in sound])
    units = units_of(archive, LOOM).units
    (fifth,) = (one for one in units.circuits if one.wires == "W5")
    assert fifth.usual is not None and fifth.chart is not None
    assert fifth.usual.count == len(sound)
    assert fifth.usual.mean == pytest.approx(values.mean(), rel=1e-12)
    assert fifth.usual.spread == pytest.approx(values.std(ddof=1), rel=1e-9)
    assert fifth.chart.mean == pytest.approx(values.mean(), rel=1e-12)
    assert fifth.limit_ohm == 0.05


def test_the_joint_that_drifts_is_told_with_its_bench_and_no_other(archive: Archive) -> None:
    units = units_of(archive, LOOM).units
    assert units.benches == tuple(f"bench-{number}" for number in range(1, 6))
    told = {(s.kind, units.benches[s.bench], units.circuits[s.circuit or 0].wires) for s in units.shifts}
    assert ("wanders", "bench-3", "W7") in told
    assert {(bench, wires) for _, bench, wires in told} == {("bench-3", "W7")}
    wanders = next(shift for shift in units.shifts if shift.kind == "wanders")
    assert wanders.ohm == pytest.approx(0.004, abs=0.001)


def test_newest_days_and_benches_narrow_it(archive: Archive) -> None:
    runs = list(made_runs(COUNT))
    newest = units_of(archive, LOOM, 100)
    assert len(newest.units.ohms.at) == 100
    assert newest.units.right.first.total > 500
    assert newest.units.runs.sequence[int(newest.units.ohms.at[-1])] == COUNT
    second = {run.info["Unit"] for run in runs if run.info["Kept"][:10] == "2026-05-02"}
    day = units_of(archive, Wanted(harness=HARNESS, since="2026-05-02", until="2026-05-02"))
    assert set(day.units.tries.unit) == second
    bench = units_of(archive, Wanted(harness=HARNESS, bench="bench-4"))
    assert [name for name, _ in bench.units.by_bench] == ["bench-4"]
    assert bench.units.shifts == ()
    with pytest.raises(ArchiveError, match="nothing of that kind"):
        units_of(archive, Wanted(harness="fishing launch"))


def test_the_limit_is_that_of_the_last_unit_which_has_one() -> None:
    nan = float("nan")
    values = np.array([[1.0, nan, 3.0], [2.0, nan, nan]])
    assert _latest(values).tolist()[::2] == [2.0, 3.0] and np.isnan(_latest(values)[1])
    assert _latest(values[:0, :0]).tolist() == []


def test_runs_of_before_that_number_was_kept_have_their_estimate(tmp_path: Path) -> None:
    """The small archive's verdicts have no `measured_ohms`, and its runs no unit, but for one."""
    harness = loom(tmp_path / "loom")
    archive = Archive(tmp_path / "archive")
    for number in (1, 2, 3):
        about = About("after", "A. Nobody", job=Job(unit=f"U{number}"))
        with create_run(tmp_path / f"run{number}", harness, about, clock=lambda: BEGIN) as writer:
            for wire in harness.wires:
                writer.record(Reading(wire.start, wire.end, 0.1 * number))
        keep(archive, tmp_path / f"run{number}", f"id{number}")
    units = units_of(archive, Wanted(harness="orchard tractor, invented")).units
    assert units.ohms.ohm == pytest.approx(np.array([[0.1, 0.1], [0.2, 0.2], [0.3, 0.3]]))
    assert [one.circuit for one in units.circuits] == ["horn", "lamp"]


def test_more_units_than_one_query_takes_are_asked_for_in_parts(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = unit_rows(units_of(archive, LOOM))
    monkeypatch.setattr("loomtest.evidence.archive.index._MOST_NUMBERS", 70)
    assert unit_rows(units_of(archive, LOOM)) == whole


def test_the_table_has_a_row_for_each_unit_and_circuit(archive: Archive) -> None:
    kept = units_of(archive, LOOM, 50)
    table = unit_rows(kept)
    assert {len(column) for column in table.values()} == {np.isfinite(kept.units.ohms.ohm).sum()}
    by_name = {run.name: run for run in made_runs(COUNT)}
    runs = list(by_name.values())
    for at in (0, 700, -1):
        run = runs[int(str(table["run"][at])) - 1]
        wire = next(w for w in run.verdict["wires"] if w["wire"] == table["wires"][at])
        assert table["ohms"][at] == pytest.approx(wire["measured_ohms"])
        assert (table["unit"][at], table["bench"][at]) == (run.info["Unit"], run.info["Bench"])
        assert (table["operator"][at], table["date"][at]) == (run.info["Operator"], run.info["Kept"][:10])


def test_the_object_holds_plain_numbers(archive: Archive) -> None:
    told = units_object(HARNESS, units_of(archive, LOOM))
    assert told["schema"] == "loomtest-yield/1"
    assert told["first"]["of"] == told["units"] and told["runs"] == COUNT
    assert told["first"]["interval"][0] < told["first"]["share"] < told["first"]["interval"][1]
    circuit = next(one for one in told["circuits"] if one["wires"] == ["W5"])
    low, high = circuit["usual"]["tolerance_ohms"]
    assert low < circuit["usual"]["mean_ohms"] < high < circuit["limit_ohms"]
    assert {shift["bench"] for shift in told["shifts"]} == {"bench-3"}
