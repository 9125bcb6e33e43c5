"""docs/benches.md: its statements go to a real server, its commands run, the database goes and comes."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from tests.documents import ROOT
from tests.evidence.archive.test_document import alike, played
from tests.postgres import PASSWORD, running

PAGE = ROOT / "docs" / "benches.md"
_PART = re.compile(r"<!-- (.+?) -->|```(console|sql|toml)\n(.*?)```", re.DOTALL)


def like_the_page(text: str, port: int) -> str:
    text = re.sub(r"(connection failed: connection to server).*", r"\1 failed", alike(text))
    text = re.sub(r"^  \d{4}-\d\d-\d\d", "  2026-11-25", text, flags=re.MULTILINE)
    text = re.sub(r"on \d{4}-\d\d-\d\d or later", "on 2026-11-25 or later", text)
    return text.replace(f"127.0.0.1:{port}/", "server/")


def test_every_command_of_the_page_does_what_stands_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_runs").symlink_to(ROOT / "sample_runs", target_is_directory=True)
    (tmp_path / "evidence").mkdir()
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    done: list[str] = []
    with running() as server, subprocess.Popen(
        ["flock", "evidence/.lock", "sh", "-c", "echo held; read answer"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as holder:  # fmt: skip
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        for comment, kind, text in _PART.findall(PAGE.read_text("utf-8")):
            if "database is" in comment:
                server.stop() if comment.endswith("off") else server.start()
            elif kind == "sql":
                database = "looms" if "looms" in done else "postgres"
                for statement in filter(None, text.split("\n")):
                    server.ask(statement, database)
                server.ask(f"ALTER ROLE loomtest PASSWORD '{PASSWORD}'")
                done += [word for word in ("looms", "office") if word in text]
            elif kind == "toml":
                address = text.replace("@server/", f"@127.0.0.1:{server.port}/")
                (tmp_path / "evidence" / "archive.toml").write_text(address)
            elif kind == "console":
                for part in re.split(r"^\$ ", text, flags=re.MULTILINE)[1:]:
                    command, _, shown = part.partition("\n")
                    assert like_the_page(played(command, tmp_path), server.port) == shown, command
                    done.append(command.split()[0])
            if holder.poll() is None and "flock" in done:
                holder.communicate("let go\n")
    assert done.count("loomtest") == 5 and {"looms", "office", "flock"} <= set(done)
