"""The run folder: it only grows, by whole lines, in one program's hands."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.errors import InputError, RunFolderError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness
from loomtest.readings import run as run_module
from loomtest.readings.generic import generic_handheld
from loomtest.readings.instrument import load_instrument
from loomtest.readings.load import load_readings
from loomtest.readings.model import Quantity
from loomtest.readings.run import About, Reading, RunWriter, create_run, resume_run
from loomtest.readings.runfile import events_of, harness_digest, open_run
from tests.readings.looms import small_loom

NOON = datetime(2026, 5, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))


class Clock:
    """A clock that stands unless it is moved."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def harness(tmp_path: Path) -> Harness:
    return small_loom(tmp_path / "loom")


@pytest.fixture
def writer(tmp_path: Path, harness: Harness) -> Iterator[RunWriter]:
    about = About("before", "A. Nobody", load_instrument("handheld-4half"), 18.5, 'rain,\n"heavy"', "id-1")
    with create_run(tmp_path / "run", harness, about, clock=Clock()) as one:
        yield one


def lines(writer: RunWriter) -> list[str]:
    return (writer.folder / "readings.csv").read_text("utf-8").splitlines()


def events(folder: Path) -> list[dict[str, object]]:
    return [dict(event) for event in events_of(tomllib.loads((folder / "run.toml").read_text("utf-8")))]


def test_a_recorded_reading_is_on_disk_when_its_row_is_returned(writer: RunWriter) -> None:
    assert writer.record(Reading("X1:1", "X2:1", "0.42")) == 1
    assert lines(writer)[1] == "X1:1,X2:1,0.42,,,,,,,,2026-05-01T12:00:00.000+02:00,,,,,"
    assert writer.record(Reading("X1:1", "X2:1", math.inf)) == 2
    assert lines(writer)[2].startswith("X1:1,X2:1,OL,")


def test_what_was_recorded_is_what_is_loaded(writer: RunWriter, harness: Harness) -> None:
    writer.record(Reading("X1:1", "X2:1", 420.0, unit="milliohm", uncertainty=5.0, note='a, "b"\nc'))
    writer.record(Reading("X1:1", "X1:2", "OL", range_ohms=2e6, bonded_end=("X2:2", "GND1")))
    writer.record(Reading("X1:1", "X2:1", 30e-3, Quantity.VOLTAGE_DROP, current_a=5.0, temperature_c=21.5))
    writer.record(Reading("X1:2", "X2:2", "yes", Quantity.CONTINUITY, time="2026-05-01T13:00:00+02:00"))
    readings = load_readings(writer.folder, harness)
    assert readings.value.tolist() == [pytest.approx(0.42), math.inf, 0.03, 1.0]
    assert readings.uncertainty[0] == pytest.approx(0.005)
    assert readings.above_ohm[1] == 2e6
    assert readings.bonded == {1: ((), (harness.code_of["X2:2"], harness.code_of["GND1"]))}
    assert (readings.current_a[2], readings.temperature_c[2]) == (5.0, 21.5)
    assert readings.notes[0] == 'a, "b" c'
    assert readings.times[3] == "2026-05-01T13:00:00+02:00"
    assert readings.row.tolist() == [2, 3, 4, 5]


@given(st.text(max_size=30), st.text(max_size=30))
def test_any_note_and_any_name_of_a_meter_stay_in_their_row(note: str, meter: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        harness = small_loom(Path(folder) / "loom")
        with create_run(Path(folder) / "run", harness, About(), clock=Clock()) as writer:
            writer.record(Reading("X1:1", "X2:1", "1", note=note, instrument=meter))
            writer.record(Reading("X1:1", "X2:1", "2", note="next"))
        readings = load_readings(Path(folder) / "run", harness)
    assert readings.value.tolist() == [1.0, 2.0]
    assert readings.row.tolist() == [2, 3]
    plain = "".join(c if c.isprintable() else " " for c in note).strip()
    assert readings.notes.get(0, "") == plain.encode("utf-8", "replace").decode("utf-8")


def test_the_run_file_holds_the_sitting(writer: RunWriter, harness: Harness) -> None:
    writer.note_leads("start", 0.21, 0.01)
    writer.note_leads("end", 0.23, 0.02)
    readings = load_readings(writer.folder, harness)
    run = readings.run
    assert run is not None
    assert (run.stage, run.operator, run.temperature_c) == ("before", "A. Nobody", 18.5)
    assert run.notes == 'rain,\n"heavy"'
    assert run.started == "2026-05-01T12:00:00+02:00"
    assert (run.lead_start_ohms, run.lead_end_ohms, run.lead_uncertainty_ohms) == (0.21, 0.23, 0.02)
    assert (run.harness_name, run.harness_digest) == (harness.name, harness_digest(harness))
    assert run.raw["identifier"] == "id-1"
    assert readings.instrument == load_instrument("handheld-4half")


def test_the_harness_copy_is_the_harness(writer: RunWriter, harness: Harness) -> None:
    copy = load_harness(writer.folder / "harness")
    assert (copy.wires, copy.points, copy.name) == (harness.wires, harness.points, harness.name)
    assert harness_digest(copy) == harness_digest(harness)


def test_a_bare_wire_list_is_copied_so_that_its_folder_loads(tmp_path: Path, harness: Harness) -> None:
    bare = load_harness(tmp_path / "loom" / "wires.csv")
    with create_run(tmp_path / "bare", bare, About(), clock=Clock()) as writer:
        copy = load_harness(writer.folder / "harness")
    assert copy.wires == bare.wires
    assert harness_digest(copy) == harness_digest(bare) != harness_digest(harness)


def test_an_assumed_instrument_is_not_written_as_if_it_had_been_stated(
    tmp_path: Path, harness: Harness
) -> None:
    with create_run(tmp_path / "r", harness, About(instrument=generic_handheld()), clock=Clock()):
        pass
    assert not (tmp_path / "r" / "instrument.toml").exists()
    assert load_readings(tmp_path / "r", harness).instrument is None


def test_started_resumed_and_ended_are_added_and_nothing_is_rewritten(
    tmp_path: Path, harness: Harness
) -> None:
    folder, clock = tmp_path / "r", Clock()
    create_run(folder, harness, About(), clock=clock).close("stopped", "the battery is flat")
    before = (folder / "run.toml").read_bytes()
    clock.now += timedelta(hours=1)
    with resume_run(folder, clock=clock, harness=harness) as writer:
        writer.record(Reading("X1:1", "X2:1", "1"))
        writer.note_event("note", text="it rains")
    assert (folder / "run.toml").read_bytes().startswith(before)
    assert [event["what"] for event in events(folder)] == ["started", "ended", "resumed", "note", "ended"]
    assert events(folder)[1]["reason"] == "the battery is flat"
    assert events(folder)[2]["at"] == "2026-05-01T13:00:00+02:00"
    assert events(folder)[4] == {
        "what": "ended", "at": "2026-05-01T13:00:00+02:00", "status": "complete", "last_row": 1,
    }  # fmt: skip


def test_an_exception_ends_the_run_with_its_reason(tmp_path: Path, harness: Harness) -> None:
    for kind, status in ((KeyboardInterrupt, "stopped"), (ValueError, "failed")):
        folder = tmp_path / status
        with pytest.raises(kind), create_run(folder, harness, About(), clock=Clock()):
            raise kind("enough")
        last = events(folder)[-1]
        assert (last["what"], last["status"], last["reason"]) == ("ended", status, "enough")


def test_a_reading_is_taken_back_by_one_more_row(writer: RunWriter, harness: Harness) -> None:
    writer.record(Reading("X1:1", "X2:1", "42"))
    before = lines(writer)
    assert writer.withdraw(1) == 2
    assert lines(writer)[:2] == before
    writer.record(Reading("X1:1", "X2:1", "0.42"))
    writer.record(Reading("X1:1", "X2:1", "0.43", withdraws=3))
    assert load_readings(writer.folder, harness).value.tolist() == [0.43]
    for row in (2, 99, 0, -1):
        with pytest.raises(ValueError, match="no reading"):
            writer.withdraw(row)


@pytest.mark.parametrize(
    "reading",
    [
        Reading("X1:1", "X1:1", "1"),
        Reading("", "X1:1", "1"),
        Reading("X1:1", "X2:1", ""),
        Reading("X1:1", "X2:1", "nonsense"),
        Reading("X1:1", "X2:1", math.nan),
        Reading("X1:1", "X2:1", "1", withdraws=9),
    ],
)
def test_what_could_not_be_loaded_is_not_recorded(writer: RunWriter, reading: Reading) -> None:
    with pytest.raises(ValueError):
        writer.record(reading)
    assert len(lines(writer)) == 1


def test_a_torn_last_line_is_set_aside_and_never_guessed(tmp_path: Path, harness: Harness) -> None:
    folder = tmp_path / "r"
    with create_run(folder, harness, About(), clock=Clock()) as writer:
        writer.record(Reading("X1:1", "X2:1", "0.42"))
    for name, torn in (("readings.csv", b"X1:2,X2:2,0.4"), ("run.toml", b'3 = {what = "re')):
        with (folder / name).open("ab") as stream:
            stream.write(torn + b"\0\0")
    readings = load_readings(folder, harness)  # a reader passes over it and says so
    assert readings.value.tolist() == [0.42]
    assert [(w.line, w.severity) for w in readings.warnings] == [(3, "warning")]
    with resume_run(folder, clock=Clock()) as writer:
        assert writer.record(Reading("X1:2", "X2:2", "0.5")) == 2
    assert load_readings(folder, harness).value.tolist() == [0.42, 0.5]
    assert load_readings(folder, harness).warnings == ()
    aside = (folder / "set-aside.txt").read_bytes()
    assert b"X1:2,X2:2,0.4" in aside
    assert b'3 = {what = "re' in aside


def test_a_second_program_on_the_same_run_is_refused(writer: RunWriter, tmp_path: Path) -> None:
    script = (
        "import sys, datetime\n"
        "from loomtest.errors import RunFolderError\n"
        "from loomtest.readings.run import resume_run\n"
        "try:\n"
        "    resume_run(sys.argv[1], clock=lambda: datetime.datetime.now().astimezone()).close('complete')\n"
        "except RunFolderError as error:\n"
        "    print(error)\n"
        "    sys.exit(7)\n"
    )
    second = [sys.executable, "-c", script, str(writer.folder)]
    refused = subprocess.run(second, capture_output=True, text=True, timeout=60)
    assert (refused.returncode, "another program" in refused.stdout) == (7, True)
    writer.close("complete")
    assert subprocess.run(second, timeout=60).returncode == 0


def test_a_run_of_another_version_of_the_harness_is_not_resumed(tmp_path: Path, harness: Harness) -> None:
    create_run(tmp_path / "r", harness, About(), clock=Clock()).close("complete")
    with (tmp_path / "loom" / "wires.csv").open("a", encoding="utf-8") as stream:
        stream.write("X1:4,X2:4,W6\n")
    changed = load_harness(tmp_path / "loom")
    with pytest.raises(RunFolderError, match="another version"):
        resume_run(tmp_path / "r", clock=Clock(), harness=changed)
    assert [w.column for w in load_readings(tmp_path / "r", changed).warnings] == ["harness"]
    resume_run(tmp_path / "r", clock=Clock(), harness=harness.__class__(harness.name, (), ())).close(
        "complete"
    )


def test_a_folder_in_the_way_is_left_alone(tmp_path: Path, harness: Harness) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "photo.jpg").write_text("x")
    (tmp_path / "file").write_text("x")
    (tmp_path / "empty").mkdir()
    create_run(tmp_path / "run", harness, About(), clock=Clock()).close("complete")
    for name in ("full", "file", "run"):
        with pytest.raises(RunFolderError):
            create_run(tmp_path / name, harness, About(), clock=Clock())
    create_run(tmp_path / "empty", harness, About(), clock=Clock()).close("complete")
    assert sorted(p.name for p in (tmp_path / "full").iterdir()) == ["photo.jpg"]
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_a_folder_that_is_no_run_is_not_resumed(tmp_path: Path) -> None:
    with pytest.raises(RunFolderError):
        resume_run(tmp_path, clock=Clock())
    (tmp_path / "run.toml").write_text("= broken\n")
    (tmp_path / "readings.csv").write_text("from,to,value\n")
    with pytest.raises(InputError):
        resume_run(tmp_path, clock=Clock())
    with pytest.raises(InputError):  # and the refusal let go of the lock
        resume_run(tmp_path, clock=Clock())


def test_a_stream_is_on_disk_within_its_bound(writer: RunWriter, monkeypatch: pytest.MonkeyPatch) -> None:
    now = 100.0
    monkeypatch.setattr(run_module.time, "monotonic", lambda: now)
    assert [writer.record_later(Reading("X1:1", "X2:1", f"{k}")) for k in range(3)] == [1, 2, 3]
    assert len(lines(writer)) == 1
    now += run_module.FLUSH_WITHIN_S
    writer.flush_due()  # the stream pauses: what waits is written all the same
    assert len(lines(writer)) == 4
    writer.record_later(Reading("X1:1", "X2:1", "4"))
    now += run_module.FLUSH_WITHIN_S
    assert writer.record_later(Reading("X1:1", "X2:1", "5")) == 5
    assert len(lines(writer)) == 6
    writer.record_later(Reading("X1:1", "X2:1", "6"))
    assert writer.record(Reading("X1:1", "X2:1", "7")) == 7
    assert [line.split(",")[2] for line in lines(writer)[1:]] == ["0", "1", "2", "4", "5", "6", "7"]


def test_a_closed_run_takes_nothing_more(writer: RunWriter) -> None:
    writer.close("complete")
    writer.close("complete")
    with pytest.raises(RunFolderError):
        writer.record(Reading("X1:1", "X2:1", "1"))


def test_a_full_disk_is_one_plain_message_and_nothing_half_written(
    writer: RunWriter, harness: Harness, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer.record(Reading("X1:1", "X2:1", "1"))
    stream = writer._readings._stream

    class Full:
        """Takes three bytes of a line, as a disk does that has three left."""

        def __init__(self) -> None:
            self.left = 3

        def write(self, data: memoryview) -> int:
            if not self.left:
                raise OSError(28, os.strerror(28))
            count, self.left = min(self.left, len(data)), 0
            return stream.write(data[:count]) or 0

        def __getattr__(self, name: str) -> object:
            return getattr(stream, name)

    monkeypatch.setattr(writer._readings, "_stream", Full())
    with pytest.raises(RunFolderError, match="line 2 is safe"):
        writer.record(Reading("X1:2", "X2:2", "2"))
    monkeypatch.undo()
    assert writer.record(Reading("X1:2", "X2:2", "3")) == 2  # room again: the session goes on
    assert load_readings(writer.folder, harness).value.tolist() == [1.0, 3.0]
    assert open_run(writer.folder).torn == b""


def test_text_of_every_kind_survives_the_run_file(tmp_path: Path, harness: Harness) -> None:
    odd = 'quote " back \\ tab \t line \n del \x7f nul \0 omega Ω smile \U0001f600'
    about = About(stage=odd, notes=odd)
    with create_run(tmp_path / "r", harness, about, clock=Clock()) as writer:
        writer.note_event("note", text=odd)
    assert tomllib.loads((tmp_path / "r" / "run.toml").read_text("utf-8"))["notes"] == odd
    assert events(tmp_path / "r")[1]["text"] == odd


ODD_NUMBERS = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from(
    [-5000.0, 1e200, -1e200, 0.0, -0.0, 5e-324, 1e15, 1.1e15, -273.16, 1e-9, 9.9e37, 9.91e37, -9.9e37]
)
TIED = st.lists(st.sampled_from(["X1:1", "X2:1", "X1:2", "X2:2"]), max_size=2).map(tuple)
ODD_VALUES = (
    ODD_NUMBERS
    | st.sampled_from(
        ["-5000", "1e200", "OL", ">2M", ">1e999", "0,42", "1,234", "", "=1", "nan", "1e-400", "yes"]
    )
    | st.text(max_size=8)
)


@given(
    st.lists(
        st.builds(
            Reading,
            st.just("X1:1"),
            st.just("X2:1"),
            ODD_VALUES,
            quantity=st.sampled_from(Quantity),
            current_a=st.none() | ODD_NUMBERS,
            bonded_start=TIED,
            bonded_end=TIED,
            uncertainty=st.none() | ODD_NUMBERS,
            range_ohms=st.none() | ODD_NUMBERS,
            temperature_c=st.none() | ODD_NUMBERS,
            note=st.text(max_size=8),
        ),
        max_size=6,
    )
)
def test_whatever_a_meter_or_a_hand_gives_what_is_recorded_opens_again(readings: list[Reading]) -> None:
    with tempfile.TemporaryDirectory() as name:
        loom = small_loom(Path(name) / "loom")
        taken = 0
        with create_run(Path(name) / "run", loom, About(), clock=Clock()) as writer:
            for reading in readings:
                try:
                    writer.record(reading)
                except ValueError:
                    continue
                taken += 1
        assert len(load_readings(Path(name) / "run", loom).value) == taken


def test_a_temperature_that_cannot_be_is_told_and_not_used(tmp_path: Path, harness: Harness) -> None:
    create_run(tmp_path / "run", harness, About(temperature_c=-234.5), clock=Clock()).close("complete")
    opened = open_run(tmp_path / "run")
    assert opened.run.temperature_c is None
    (warning,) = opened.warnings(harness)
    assert (warning.column, warning.found) == ("temperature_c", "-234.5")
