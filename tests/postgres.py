"""A real PostgreSQL of the tests' own: made in a temporary folder, on loopback, stopped at the end.

It never runs as root: where the tests do, the server's processes take the user that Debian's package made.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.tools import need

OWNER, PASSWORD = "bench", "a password of the tests, invented"


class Server:
    """One server; `url` names a new, empty database of it. Its password is asked for, by SCRAM."""

    def __init__(self, folder: Path, *, durable: bool = False) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.bin = _tools()
        self.user = "postgres" if os.geteuid() == 0 else None
        if self.user is not None:
            owner = pwd.getpwnam(self.user)
            os.chown(folder, owner.pw_uid, owner.pw_gid)
        folder.chmod(0o700)
        secret = folder / "secret"
        secret.write_text(PASSWORD + "\n")
        secret.chmod(0o644)
        self._run("initdb", "-D", str(self.data), "-U", OWNER, "-A", "scram-sha-256", "-N", "-E", "UTF8",
                  "--locale=C", f"--pwfile={secret}")  # fmt: skip
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        settings = [f"port = {self.port}", "listen_addresses = '127.0.0.1'"]
        settings += [f"unix_socket_directories = '{folder}'", "max_connections = 40"]
        settings += [] if durable else ["fsync = off"]
        with (self.data / "postgresql.conf").open("a") as file:
            file.write("\n".join(settings) + "\n")
        self._made = 0

    def start(self) -> None:
        """Start, and wait until it answers."""
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", str(self.data), "-w", "-t", "60", "-l", log, "start")

    def stop(self, mode: str = "fast") -> None:
        """Stop: `fast`, or `immediate` as a crash would."""
        with suppress(subprocess.CalledProcessError):
            self._run("pg_ctl", "-D", str(self.data), "-w", "-m", mode, "stop")

    def url(self, name: str = "") -> str:
        """The address of a new database."""
        self._made += 1
        name = name or f"index{self._made}"
        self.ask(f'CREATE DATABASE "{name}"')
        return f"postgresql://{OWNER}@127.0.0.1:{self.port}/{name}"

    def ask(self, statement: str, database: str = "postgres") -> str:
        """What psql answers to a statement."""
        words = ["-h", "127.0.0.1", "-p", str(self.port), "-U", OWNER, "-d", database, "-At"]
        return self._run("psql", *words, "-v", "ON_ERROR_STOP=1", "-c", statement)

    def _run(self, tool: str, *words: str) -> str:
        return subprocess.run(
            [str(self.bin / tool), *words],
            cwd=self.folder,
            user=self.user,
            extra_groups=[] if self.user is not None else None,
            env={**os.environ, "PGPASSWORD": PASSWORD, "LC_ALL": "C"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE if tool == "psql" else subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
            check=True,
        ).stdout or ""  # fmt: skip


def _tools() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[4]))
    if found:
        return found[-1].parent
    return Path(need("initdb", "postgresql")).resolve().parent


@contextmanager
def running(*, durable: bool = False) -> Iterator[Server]:
    """A server that runs until the end. Its folder is short: a socket's path may not be long."""
    folder = Path(tempfile.mkdtemp(prefix="loomtest-pg-", dir="/tmp"))
    try:
        server = Server(folder, durable=durable)
        server.start()
        try:
            yield server
        finally:
            server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
