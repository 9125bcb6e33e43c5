"""A bench page as a program of its own, as a person starts it; and raw requests to it, word for word."""

from __future__ import annotations

import http.client
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

STARTED_WITHIN_S = 30.0


@dataclass
class Serving:
    """`key_address` is what was printed; `base` the same without its key."""

    process: subprocess.Popen[str]
    folder: Path
    key_address: str
    said: list[str]

    @property
    def base(self) -> str:
        return self.key_address.partition("/?")[0]

    @property
    def host(self) -> str:
        return urlsplit(self.base).netloc

    def cookie(self) -> str:
        """Spend the key; what a browser sends from then on."""
        answer = request(self, "GET", self.key_address.removeprefix(self.base))
        assert answer.status == 303, answer
        return answer.headers["set-cookie"].partition(";")[0]


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes


def request(
    serving: Serving,
    method: str,
    path: str,
    headers: dict[str, str] | None = None,
    body: bytes = b"",
    at: str = "",
) -> Answer:
    """One request with exactly these headers, Host too where it is among them."""
    host, _, port = (at or serving.host).rpartition(":")
    connection = http.client.HTTPConnection(host, int(port), timeout=10)
    try:
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        given = {"Host": serving.host, **(headers or {})}
        if body:
            given["Content-Length"] = str(len(body))
        for name, value in given.items():
            connection.putheader(name, value)
        connection.endheaders(body or None)
        answer = connection.getresponse()
        return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
    finally:
        connection.close()


def start(folder: Path, home: Path, *options: str) -> Serving:
    """Start it on a free port, unless `options` name one."""
    port = () if "--port" in options else ("--port", str(free_port()))
    command = [sys.executable, "-m", "loomtest", "bench", str(folder), "--no-browser", *port, *options]
    environment = {**os.environ, "HOME": str(home), "USERPROFILE": str(home), "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    )
    said: list[str] = []
    until = time.monotonic() + STARTED_WITHIN_S
    assert process.stdout is not None
    while time.monotonic() < until:
        line = process.stdout.readline()
        said.append(line)
        if found := re.search(r"https?://\S+/\?key=\S+", line):
            return Serving(process, folder, found[0], said)
        if not line:
            break
    process.kill()
    process.communicate()
    raise AssertionError("".join(said))


@contextmanager
def served(folder: Path, home: Path, *options: str) -> Iterator[Serving]:
    """A running bench page; ended with the block, and whole in its ending."""
    serving = start(folder, home, *options)
    try:
        yield serving
    finally:
        if serving.process.poll() is None:
            serving.process.terminate()
        try:
            rest, _ = serving.process.communicate(timeout=15)
        except subprocess.TimeoutExpired:
            serving.process.kill()
            rest, _ = serving.process.communicate()
        serving.said.append(rest or "")
        assert "Traceback" not in rest, rest


def free_port() -> int:
    """A port that nobody listens on now."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
