"""`loomtest keep`, `history` and `verify`, as a person uses them on the sample runs."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import bagit
import pytest

from tests.commands.in_process import loomtest
from tests.evidence.example import LAUNCH, TRACTOR


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tractor's three runs, kept by the real program; no test changes it."""
    place = tmp_path_factory.mktemp("evidence") / "archive"
    for name in ("1_before", "2_after", "3_final"):
        done = loomtest("keep", str(TRACTOR / name), "--rehearsal", "--archive", str(place))
        assert (done.returncode, done.stderr) == (0, "")
        assert f"kept as {place}" in done.stdout
    return place


@pytest.fixture
def copy(archive: Path, tmp_path: Path) -> Path:
    shutil.copytree(archive, tmp_path / "archive")
    return tmp_path / "archive"


def bags(archive: Path) -> list[Path]:
    """The bags in the order of keeping: names tell no order within one second."""
    lines = (archive / "tag-manifests.sha256").read_text("utf-8").splitlines()
    kept = [archive / line.split("  ", 1)[1].rpartition("/")[0] for line in lines]
    return [path for path in kept if (path / "bagit.txt").is_file()]


def test_a_kept_run_holds_the_verdict_the_page_and_the_pictures(archive: Path) -> None:
    first = bags(archive)[0]
    judged = loomtest("judge", str(TRACTOR), str(TRACTOR / "1_before"), "--json")
    assert json.loads((first / "data" / "verdict.json").read_text("utf-8")) == json.loads(judged.stdout)
    page = (first / "data" / "report" / "report.html").read_text("utf-8")
    assert "Orchard tractor" in page
    assert (first / "data" / "report" / "loom.png").read_bytes().startswith(b"\x89PNG")
    assert str(Path.cwd()) not in page  # nothing of the place it was made in


def test_anyone_can_check_it_without_this_program(archive: Path) -> None:
    for bag in bags(archive):
        subprocess.run(["sha256sum", "-c", "--quiet", "manifest-sha256.txt"], cwd=bag, check=True)
        assert bagit.Bag(str(bag)).validate()
    subprocess.run(["sha256sum", "-c", "--quiet", "tag-manifests.sha256"], cwd=archive, check=True)


def test_a_kept_run_can_be_judged_where_it_lies(archive: Path) -> None:
    run = bags(archive)[2] / "data" / "run"
    assert loomtest("judge", str(run / "harness"), str(run)).returncode == 0


def test_verify_prints_one_line_a_bag_and_judges_again_when_asked(archive: Path) -> None:
    plain = loomtest("verify", "--archive", str(archive))
    assert plain.returncode == 0
    assert all(line.startswith("good ") and "judged" not in line for line in plain.stdout.splitlines())
    done = loomtest("verify", "--redraw", "--archive", str(archive))
    assert done.returncode == 0, done.stdout
    lines = done.stdout.splitlines()
    assert [line.split(": ")[1].split(";")[0] for line in lines] == [
        "verdict fail", "verdict not-proven", "verdict pass",
    ]  # fmt: skip
    assert all("judged again, same result" in line and "drawn again, same result" in line for line in lines)


def test_verify_says_what_is_wrong_and_exits_1(copy: Path) -> None:
    readings = bags(copy)[1] / "data" / "run" / "readings.csv"
    readings.write_bytes(readings.read_bytes().replace(b"0.0", b"0.1", 1))
    shutil.rmtree(bags(copy)[0])
    done = loomtest("verify", "--archive", str(copy))
    assert done.returncode == 1
    lines = done.stdout.splitlines()
    assert lines[0].startswith("WRONG ") and lines[0].endswith("is missing")
    assert lines[1].startswith("WRONG ") and "readings.csv" in lines[1]
    assert lines[2].startswith("good ")
    found = json.loads(loomtest("verify", "--archive", str(copy), "--json").stdout)
    assert found["good"] is False
    assert [bool(bag["wrong"]) for bag in found["bags"]] == [True, True, False]


def test_history_shows_runs_and_circuits_and_draws(archive: Path, tmp_path: Path) -> None:
    done = loomtest(
        "history", str(TRACTOR), "--archive", str(archive), "--out", str(tmp_path / "out"),
        "--csv", str(tmp_path / "runs.csv"),
    )  # fmt: skip
    assert done.returncode == 0
    assert [line.split()[2] for line in done.stdout.splitlines()[1:4]] == ["fail", "not-proven", "pass"]
    assert "rear ground (W20)" in loomtest("history", "--all", "--archive", str(archive)).stdout
    assert (tmp_path / "out" / "history.png").is_file()
    assert (tmp_path / "runs.csv").read_text("utf-8").count("\n") == 4
    found = json.loads(loomtest("history", "--archive", str(archive), "--json").stdout)
    assert [run["stage"] for run in found["runs"]] == ["before", "after", "final"]
    ground = next(course for course in found["courses"] if course["wires"] == ["W20"])
    assert ground["ohms"][0] > ground["limit_ohms"] > ground["ohms"][-1]


def test_readings_typed_into_a_file_are_kept_with_their_harness(tmp_path: Path) -> None:
    place = tmp_path / "archive"
    typed = ("--harness", str(LAUNCH), "--instrument", str(LAUNCH / "meter.toml"))
    for name, stage in (("1_first.csv", "before"), ("2_second.csv", "after")):
        done = loomtest(
            "keep", str(LAUNCH / name), *typed, "--stage", stage, "--archive", str(place), "--json"
        )
        assert done.returncode == 0, done.stderr
        told = json.loads(done.stdout)
        judged = loomtest("judge", str(LAUNCH), str(LAUNCH / name), "--instrument", typed[3], "--json")
        assert told["verdict"] == json.loads(judged.stdout)["verdict"]
        assert (Path(told["bag"]) / "data" / "run" / "readings.csv").read_bytes() == (
            LAUNCH / name
        ).read_bytes()
    assert loomtest("verify", "--archive", str(place)).returncode == 0
    assert [
        line.split()[1] for line in loomtest("history", "--archive", str(place)).stdout.splitlines()[1:3]
    ] == [
        "before",
        "after",
    ]


def test_a_loom_without_a_name_is_kept_under_that_of_its_folder(tmp_path: Path) -> None:
    place = ("--archive", str(tmp_path / "archive"))
    for name in ("barrow", "sledge"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "wires.csv").write_text("from,to\nX1:1,X2:1\n", "utf-8")
        (tmp_path / f"{name}.csv").write_text("from,to,value\nX1:1,X2:1,0.1\n", "utf-8")
        kept = loomtest("keep", f"{name}.csv", "--harness", name, *place, "--json", cwd=tmp_path)
        verdict = json.loads(
            (Path(json.loads(kept.stdout)["bag"]) / "data" / "verdict.json").read_text("utf-8")
        )
        assert verdict["harness"] == name
    done = loomtest("history", "barrow", *place, "--json", cwd=tmp_path)
    assert [run["harness"] for run in json.loads(done.stdout)["runs"]] == ["barrow"]
    assert loomtest("verify", *place).returncode == 0


def test_a_signed_run_goes_to_another_bench_and_is_known_there(tmp_path: Path) -> None:
    key, place, other = tmp_path / "bench.key", tmp_path / "archive", tmp_path / "other"
    assert loomtest("keep", "--new-key", str(key)).returncode == 0
    done = loomtest(
        "keep", str(TRACTOR / "3_final"), "--rehearsal", "--key", str(key), "--archive", str(place), "--json"
    )
    name = Path(json.loads(done.stdout)["bag"]).name
    packed = str(tmp_path / "run.zip")
    assert loomtest("verify", "--bag", name, "--to-zip", packed, "--archive", str(place)).returncode == 0
    assert loomtest("keep", "--from-zip", packed, "--archive", str(other)).returncode == 0
    checked = loomtest("verify", "--key", f"{key}.pub", "--archive", str(other))
    assert checked.returncode == 0
    assert "signed by" in checked.stdout
    assert loomtest("keep", "--new-key", str(tmp_path / "stranger.key")).returncode == 0
    assert (
        loomtest("verify", "--key", str(tmp_path / "stranger.key.pub"), "--archive", str(other)).returncode
        == 1
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ("keep",),
        ("keep", "RUN", "--new-key", "k"),
        ("keep", "nowhere"),
        ("keep", "RUN", "--stage", "after"),
        ("keep", "RUN", "--harness", "LOOM"),
        ("keep", "LOOM/../fishing_launch/1_first.csv"),
        ("keep", "RUN", "--key", "nokey"),
        ("keep", "--from-zip", "nozip"),
        ("verify",),
        ("verify", "--bag", "x"),
        ("verify", "--key", "nokey"),
        ("history",),
        ("history", "nothing"),
    ],
)
def test_what_cannot_be_carried_out_is_one_message_and_status_2(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    words = [w.replace("RUN", str(TRACTOR / "3_final")).replace("LOOM", str(TRACTOR)) for w in arguments]
    done = loomtest(*words, "--archive", str(tmp_path / "archive"), cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr
    assert "Traceback" not in done.stderr
    assert not any((tmp_path / "archive").glob("2*"))


def test_the_archive_may_be_named_by_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMTEST_ARCHIVE", str(tmp_path / "here"))
    assert loomtest("keep", str(TRACTOR / "3_final"), "--rehearsal").returncode == 0
    assert len(bags(tmp_path / "here")) == 1


def test_a_run_kept_twice_is_told_and_a_part_of_a_name_will_do(tmp_path: Path) -> None:
    launch = TRACTOR.parent / "fishing_launch"
    words = (str(launch / "1_first.csv"), "--harness", str(launch), "--archive", "archive")
    first = loomtest("keep", *words, "--stage", "first", cwd=tmp_path)
    assert first.returncode == 0 and "kept already" not in first.stdout
    again = loomtest("keep", *words, "--stage", "again", cwd=tmp_path)
    names = sorted(bag.name for bag in (tmp_path / "archive").glob("2*"))
    assert again.returncode == 0 and len(names) == 2
    earlier = next(name for name in names if "-first-" in name)
    assert f"the same readings are kept already, as {earlier}: both stay" in again.stdout
    pack = ("verify", "--archive", "archive", "--to-zip", "a.zip", "--bag")
    several = loomtest(*pack, "launch", cwd=tmp_path)
    assert several.returncode == 2 and "holds 2 runs that answer to launch" in several.stderr
    none = loomtest(*pack, "tractor", cwd=tmp_path)
    assert none.returncode == 2 and all(name in none.stderr for name in names)
    assert loomtest(*pack, "-again-", cwd=tmp_path).returncode == 0
    assert (tmp_path / "a.zip").is_file()
