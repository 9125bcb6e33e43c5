"""A shared index on a real PostgreSQL: five benches at once, outages, passwords, rights, others' tables."""

from __future__ import annotations

import json
import multiprocessing
import os
from pathlib import Path

import pytest

from loomtest.errors import IndexAwayError
from loomtest.evidence.archive.folder import Archive
from loomtest.evidence.archive.index import Index
from tests.commands.in_process import loomtest
from tests.evidence.archive import kept
from tests.postgres import OWNER, PASSWORD, Server

FORK = multiprocessing.get_context("fork")
BENCHES, RUNS_EACH = 5, 3


@pytest.fixture
def url(server: Server, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    return server.url()


def folders(archive: Archive) -> list[str]:
    return [entry.folder for entry in archive.entries()]


def indexed(archive: Archive) -> list[str]:
    return [run.folder for run in Index(archive).kept()]


def keep_some(archive: Archive, run: Path, bench: str) -> None:
    for number in range(RUNS_EACH):
        assert kept.keep(archive, run, f"{bench}-{number}").not_indexed == ""


def test_five_benches_that_keep_at_once_lose_nothing_and_double_nothing(tmp_path: Path, url: str) -> None:
    harness = kept.loom(tmp_path / "loom")
    archive = Archive(tmp_path / "archive", url)
    children = []
    for bench in range(BENCHES):
        run = kept.make_run(tmp_path / f"run{bench}", harness, (0.1, 0.1 + bench / 10))
        children.append(FORK.Process(target=keep_some, args=(archive, run, f"bench{bench}")))
        children[-1].start()
    for child in children:
        child.join()
    assert [child.exitcode for child in children] == [0] * BENCHES
    assert len(set(folders(archive))) == BENCHES * RUNS_EACH
    assert indexed(archive) == folders(archive)
    assert kept.wrong(archive) == {}


def test_runs_kept_while_the_database_is_away_go_in_by_themselves(
    tmp_path: Path, server: Server, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = kept.filled(tmp_path, 1)
    (archive.folder / "archive.toml").write_text(f'index = "{url}"\n')
    place = ("--archive", str(archive.folder))
    assert loomtest("history", *place).returncode == 0
    server.stop("immediate")
    try:
        done = kept.keep(archive, tmp_path / "run0", "meanwhile")
        assert done.folder.is_dir() and "cannot be used" in done.not_indexed
        history = loomtest("history", *place)
        assert history.returncode == 2 and str(server.port) in history.stderr
        verified = loomtest("verify", "--json", *place)
        bags = json.loads(verified.stdout)["bags"]
        assert verified.returncode == 1 and not any(bag["wrong"] for bag in bags)
        assert [bag["bag"] for bag in bags if bag["unchecked"]] == [
            f"postgresql://127.0.0.1:{server.port}/{url.rpartition('/')[2]}"
        ]
        for said in (done.not_indexed, history.stderr, verified.stdout):
            assert PASSWORD not in said
    finally:
        server.start()
    assert loomtest("history", *place).returncode == 0
    assert indexed(archive) == folders(archive)
    assert len(folders(archive)) == 3 and kept.wrong(archive) == {}


@pytest.mark.parametrize("password", ["not the right one, invented", None])
def test_a_password_is_taken_from_the_environment_alone_and_never_told(
    tmp_path: Path, url: str, password: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = kept.filled(tmp_path, 1)
    monkeypatch.setenv("HOME", str(tmp_path))  # without a .pgpass
    if password is None:
        monkeypatch.delenv("PGPASSWORD")
    else:
        monkeypatch.setenv("PGPASSWORD", password)
    done = loomtest("history", "--archive", str(archive.folder), "--index", url)
    assert done.returncode == 2 and "password" in done.stderr and "Traceback" not in done.stderr
    assert PASSWORD not in done.stderr and str(password) not in done.stderr


def test_pgpass_holds_the_password_too(tmp_path: Path, url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = kept.filled(tmp_path, 1)
    secret = tmp_path / "pgpass"
    secret.write_text(f"127.0.0.1:*:*:{OWNER}:{PASSWORD}\n")
    secret.chmod(0o600)
    monkeypatch.delenv("PGPASSWORD")
    monkeypatch.setenv("PGPASSFILE", str(secret))  # where ~/.pgpass is looked for instead
    assert loomtest("history", "--archive", str(archive.folder), "--index", url).returncode == 0


def test_a_server_that_wants_the_password_itself_does_not_get_it(
    tmp_path: Path, server: Server, url: str
) -> None:
    """An archive from a stranger may name any server; PGPASSWORD is the shop's."""
    rules = server.data / "pg_hba.conf"
    before = rules.read_text()
    rules.write_text("host all all 127.0.0.1/32 password\n")
    server.ask("SELECT pg_reload_conf()")
    try:
        with pytest.raises(IndexAwayError, match="cleartext"):
            Index(Archive(kept.filled(tmp_path, 1).folder, url)).catch_up()
    finally:
        rules.write_text(before)
        server.ask("SELECT pg_reload_conf()")


def test_who_may_only_read_asks_and_cannot_change(tmp_path: Path, server: Server, url: str) -> None:
    archive = Archive(kept.filled(tmp_path, 1).folder, url)
    Index(archive).catch_up()
    database = url.rpartition("/")[2]
    server.ask("DROP ROLE IF EXISTS office")
    server.ask(f"CREATE ROLE office LOGIN PASSWORD '{PASSWORD}'")
    server.ask("GRANT SELECT ON ALL TABLES IN SCHEMA public TO office", database)
    office = Archive(archive.folder, url.replace(OWNER, "office"))
    assert indexed(office) == folders(archive)
    assert loomtest("history", "--archive", str(archive.folder), "--index", str(office.index)).returncode == 0
    kept.keep(Archive(archive.folder), tmp_path / "run0", "more")  # by a bench that has no database
    with pytest.raises(IndexAwayError, match="may only read it"):
        Index(office).catch_up()
    assert Index(archive).catch_up() == 1
    server.ask("DROP OWNED BY office", database)
    server.ask("DROP ROLE office")


def test_the_index_of_another_archive_is_left_alone(tmp_path: Path, url: str) -> None:
    one = Archive(kept.filled(tmp_path / "one", 1).folder, url)
    Index(one).catch_up()
    other = Archive(tmp_path / "other" / "archive", url)
    loom = kept.loom(tmp_path / "other" / "loom")
    done = kept.keep(other, kept.make_run(tmp_path / "other" / "run", loom, (0.3, 0.4)), "first")
    assert "index of another archive" in done.not_indexed
    assert indexed(one) == folders(one)
    schema = Archive(other.folder, url + "?schema=second%20shop")
    with pytest.raises(IndexAwayError):
        Index(schema).catch_up()  # nobody made it


def test_each_archive_may_have_a_schema_of_its_own(tmp_path: Path, server: Server, url: str) -> None:
    one = Archive(kept.filled(tmp_path / "one", 1).folder, url)
    server.ask('CREATE SCHEMA "second shop"', url.rpartition("/")[2])
    two = Archive(kept.filled(tmp_path / "two", 2).folder, url + "?schema=second%20shop")
    for archive in (one, two):
        Index(archive).catch_up()
    assert (indexed(one), indexed(two)) == (folders(one), folders(two))


def test_tables_of_another_program_are_left_alone(tmp_path: Path, server: Server, url: str) -> None:
    database = url.rpartition("/")[2]
    server.ask("CREATE TABLE bag (weight int); INSERT INTO bag VALUES (7)", database)
    archive = Archive(kept.filled(tmp_path, 1).folder, url)
    with pytest.raises(IndexAwayError, match=r"tables of another program \(bag\)"):
        Index(archive).catch_up()
    assert server.ask("SELECT weight FROM bag", database) == "7\n"


def test_a_changed_shared_index_is_told_and_made_anew(tmp_path: Path, server: Server, url: str) -> None:
    archive = Archive(kept.filled(tmp_path).folder, url)
    Index(archive).catch_up()
    database = url.rpartition("/")[2]
    server.ask("UPDATE bag SET verdict = 'pass'", database)
    assert "does not follow from the bags" in str(kept.wrong(archive, judge=False))
    assert kept.wrong(archive, judge=False) == {}
    server.ask("DELETE FROM bag WHERE sequence = 2", database)  # then the rows are not as many as it says
    assert loomtest("history", "--archive", str(archive.folder), "--index", url).returncode == 0
    assert indexed(archive) == folders(archive)
    assert os.environ["PGPASSWORD"] == PASSWORD
