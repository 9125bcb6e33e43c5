"""What the index answers, held against the bags themselves; the same of SQLite and of PostgreSQL."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Index, Wanted
from tests.evidence.archive import kept


@pytest.fixture
def archive(tmp_path: Path, index_at: str | None) -> Archive:
    """Three runs of a tractor, the last two with a fault each, and one of a boat among them."""
    filled = kept.filled(tmp_path)
    wanted = Archive(filled.folder, index_at)
    Index(wanted).catch_up()
    return wanted


def verdicts(archive: Archive) -> list[dict[str, object]]:
    folders = [archive.folder / entry.folder for entry in archive.entries()]
    return [json.loads((folder / "data" / "verdict.json").read_text("utf-8")) for folder in folders]


def test_every_run_is_there_in_the_order_of_keeping(archive: Archive) -> None:
    index = Index(archive)
    runs = index.kept()
    assert [(run.folder, run.digest) for run in runs] == [
        (entry.folder, entry.digest) for entry in archive.entries()
    ]
    assert [run.verdict for run in runs] == [verdict["verdict"] for verdict in verdicts(archive)]
    assert [run.date for run in runs] == ["2026-05-01", "2026-05-01", "2026-05-02", "2026-05-03"]
    assert runs[2].day - runs[0].day == 1.0
    assert index.kept(newest=2) == runs[2:]
    assert index.counted() == 4


def test_runs_are_chosen_by_what_is_asked(archive: Archive) -> None:
    index = Index(archive)

    def places(**words: object) -> list[int]:
        wanted = Wanted(**words)  # type: ignore[arg-type]
        found = [run.sequence for run in index.kept(wanted)]
        assert index.counted(wanted) == len(found)
        assert index.columns(wanted, ("sequence",)) == {"sequence": found}
        return found

    tractor = "orchard tractor, invented"
    assert places(harness=tractor) == [1, 3, 4]
    assert places(harness=tractor, verdict="fail") == [3, 4]
    assert places(since="2026-05-02") == [3, 4]
    assert places(since="2026-05-02", until="2026-05-02") == [3]
    assert places(operator="A. Nobody", stage="after") == [1, 2, 3, 4]
    assert places(operator="A. Nobod_") == places(harness="%") == []
    assert places(fault="high-resistance") == places(place="X1:2") == [3, 4]
    assert places(place="X1:1") == places(place="X_:2") == places(place="1:2") == []
    assert places(rehearsal=True) == []
    assert index.distinct("harness") == [("fishing launch, invented", 1), (tractor, 3)]


def test_the_commonest_faults_are_counted_by_place(archive: Archive) -> None:
    (found,) = Index(archive).faults()
    assert (found.fault, found.points, found.circuits) == ("high-resistance", "X1:2 X2:2", "lamp")
    assert (found.runs, found.units) == (2, 0)  # they name no unit


def test_ohms_stand_as_a_table_of_runs_by_wires(archive: Archive) -> None:
    index = Index(archive)
    (table,) = index.measured(Wanted(harness="orchard tractor, invented"), ("ohms", "limit_ohms"))
    assert (table.wires, table.circuits) == (("W1", "W2"), ("horn", "lamp"))
    assert table.sequences.tolist() == [1, 3, 4]
    assert table.values["ohms"].tolist() == [[0.1, 0.2], [0.1, 1.2], [0.1, 2.2]]
    assert np.all(table.values["limit_ohms"] == 1.0)
    one = index.wires([3])
    assert [(wire.wires, wire.ohms, wire.limit_ohms) for wire in one] == [("W1", 0.1, 1.0), ("W2", 1.2, 1.0)]
    assert one[0].measured_ohms is None
    assert index.measured(Wanted(harness="none")) == []


def test_an_index_made_again_says_the_same(archive: Archive) -> None:
    index = Index(archive)
    before = (index.kept(), index.faults(), index.wires([1, 2, 3, 4]))
    from loomtest.evidence.archive.database.upkeep import begin_anew, known_state

    begin_anew(index.database, archive, known_state(index.database))
    assert index.counted() == 0
    assert index.catch_up() == 4
    assert (index.kept(), index.faults(), index.wires([1, 2, 3, 4])) == before
    assert index.differing(archive.entries()) == []
