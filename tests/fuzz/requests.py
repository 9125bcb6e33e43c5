"""Targets for the bench page: requests and a screen's commands, given to the application itself, no port."""

from __future__ import annotations

import asyncio
import os
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from loomtest.web.app import application
from loomtest.web.keys import Keyring
from loomtest.web.place import Place
from loomtest.web.served import Served
from tests.evidence.archive import kept

_ORIGIN = "http://127.0.0.1:8080"
_SECRET = b"nobody reads this"
LONGEST_S = 8.0


class _Shop:
    """A workshop of two looms, one of them measured, and a page that serves it."""

    def __init__(self) -> None:
        memory = Path("/dev/shm")
        self._held = tempfile.TemporaryDirectory(
            prefix=f"loomtest-fuzz-{os.getpid()}-", dir=memory if memory.is_dir() else None
        )
        self.outside = Path(self._held.name)
        self.folder = self.outside / "shop"
        harness = kept.loom(self.folder / "tail")
        kept.make_run(self.folder / "tail" / "runs" / "run-1", harness)
        (self.outside / "secret.txt").write_bytes(_SECRET)
        self.clean = kept.tree(self.outside)
        self.cookie = ""
        self.app = self._application()

    def _application(self) -> Any:
        ring = Keyring(None, time.monotonic)
        self.cookie = ring.spend_key(ring.new_key())
        served = Served(Place(self.folder), ring, (_ORIGIN,), "bench", self.outside / "archive")
        return application(served)

    def reset(self) -> None:
        """The workshop as it was. Nothing but it may have changed."""
        now = kept.tree(self.outside)
        if now == self.clean:
            return
        others = {name for name, data in now.items() if self.clean.get(name) != data}
        assert all(name.startswith(("shop/", "archive/")) for name in others), others
        assert all(name in now for name in self.clean), "a file is gone"
        assert not [n for n in others & self.clean.keys() if "/runs/" in n], "a run was rewritten"
        for name in others:
            path = self.outside / name
            path.unlink()
            if name in self.clean:
                path.write_bytes(self.clean[name])
        shutil.rmtree(self.outside / "archive", ignore_errors=True)
        for folder in self.folder.iterdir():
            if folder.name != "tail":
                shutil.rmtree(folder)
        self.app = self._application()


_SHOP: list[_Shop] = []
REQUEST_SEEDS = (
    b"GET /?key=a\n\n",
    b"GET /\n\n%%%GET /loom/tail/show?run=run-1\n\n%%%GET /loom/tail/answer?run=run-1\n\n",
    b'POST /new/read\n\n{"notes": "X1 1 red to X4 3", "answers": {"1": "x"}}%%%GET /new/draft\n\n',
    b'POST /new/draft\n\n{"name": "a"}%%%GET /new/draft\n\n',
    b"POST /new/sheet?name=a.csv\n\nfrom,to\nX1:1,X2:1\n",
    b'POST /new/make\n\n{"name": "Stern", "rows": [["X1:1", "X2:1", "red", "1.5", "", "", "", "", ""]]}',
    b'POST /new/make\n\n{"name": "../x", "notes": "X1 1 red to X4 3\\nX1 2 - SP1"}%%%GET /loom/x\n\n',
    b'POST /loom/tail/measure/begin\n\n{"run": "../run-1", "meter": "/dev/null", "stage": "a"}',
    b"GET /loom/tail/report?run=run-1&save=1\n\n",
    b"GET /loom/tail/customer?before=run-1&after=run-2\n\n%%%"
    b"GET /loom/tail/compare?before=run-1&after=run-1\n\n",
    b"POST /loom/tail/keep?run=run-1\n\n",
    b"POST /enter\ncookie: bench=x\norigin: http://127.0.0.1:8080\n\ncode=",
    b"GET /static/..%2Fapp.py\nhost: evil.example\n\n%%%HEAD /static/bench.css\n\n",
    b"GET /loom/..%2F..%2Fsecret.txt/show\nsec-fetch-site: cross-site\n\n",
)
REQUEST_WORDS = (
    b"%%%", b"GET ", b"POST ", b"/loom/tail", b"/measure/begin", b"/new/make", b"/new/read",
    b"/new/sheet?name=", b"a.xlsx", b"a.ods", b"run=run-1", b"before=", b"after=", b'{"notes": "',
    b'{"rows": [[', b'"answers": {',
    b"\\ud800", b"NaN", b"1e999", b"[[[[[[", b"..%2F", b"%00", b"%ff", b"cookie: ", b"host: ",
    b"origin: null",
    b'"name": "con"', b"\\u0000", b"null", b"\\u202e", b"content-length: 9", b"range: bytes=0-1", b"/static/",
)  # fmt: skip


def shop() -> _Shop:
    if not _SHOP:
        _SHOP.append(_Shop())
    return _SHOP[0]


def requests(data: bytes) -> None:
    """Requests between `%%%`, each `METHOD ADDRESS`, headers, a blank line and a body.

    None ends in a fault of the program, reads what stands outside or writes there.
    """
    asked = [_taken_apart(part) for part in data.split(b"%%%")[:4]]

    async def all_of_them() -> None:
        for one in asked:
            await asyncio.wait_for(_ask(shop(), *one), LONGEST_S)

    try:
        asyncio.run(all_of_them())
    finally:
        shop().reset()


_Asked = tuple[str, bytes, list[tuple[bytes, bytes]], bytes]


def _taken_apart(part: bytes) -> _Asked:
    head, _, body = part.partition(b"\n\n")
    first, *rest = head.split(b"\n")
    method, _, address = first.partition(b" ")
    given = [line.partition(b":")[::2] for line in rest if b":" in line]
    headers = [(name.strip().lower(), value.strip()) for name, value in given]
    named = {name for name, _ in headers}
    usual = ((b"host", b"127.0.0.1:8080"), (b"cookie", f"bench={shop().cookie}".encode()),
             (b"origin", _ORIGIN.encode()))  # fmt: skip
    return (
        method.decode("latin-1").upper()[:10] or "GET",
        address,
        [*headers, *(pair for pair in usual if pair[0] not in named)],
        body,
    )


async def _ask(
    have: _Shop, method: str, address: bytes, headers: list[tuple[bytes, bytes]], body: bytes
) -> None:
    from urllib.parse import unquote

    path, _, query = address.partition(b"?")
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": unquote(path.decode("latin-1")), "raw_path": path, "query_string": query, "headers": headers,
        "client": ("127.0.0.1", 40000), "server": ("127.0.0.1", 8080), "root_path": "",
    }  # fmt: skip
    parts = [{"type": "http.request", "body": body, "more_body": False}, {"type": "http.disconnect"}]
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return parts.pop(0) if len(parts) > 1 else parts[0]

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    await have.app(scope, receive, send)
    assert sent and sent[0]["type"] == "http.response.start"
    status, said = sent[0]["status"], dict(sent[0]["headers"])
    answer = b"".join(message.get("body", b"") for message in sent[1:])
    assert status < 500, status
    assert _SECRET not in answer and b"Traceback" not in answer
    if status == 200:
        assert b"content-security-policy" in said and said[b"x-content-type-options"] == b"nosniff"
        mine = [value for name, value in headers if name == b"cookie"]
        known = any(have.cookie.encode() in value for value in mine)
        assert known or path.startswith(b"/enter") or unquote(path.decode("latin-1")) == "/enter"
