"""What a stranger tries on the bench page, request by request, and what came of it.

python -m tests.strangers.web

Everything stays on this machine (127.0.0.1, and 127.0.0.2 for the phone), some hundred requests in all.
"""

from __future__ import annotations

import json
import socket
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.web.serving import Serving, request, served

SECRET = b"nobody reads this"
PATHS = (
    "/", "/new", "/new/draft", "/screens", "/loom/tail", "/loom/tail/measure", "/loom/tail/show",
    "/loom/tail/answer", "/loom/tail/report?run=run-1", "/loom/tail/measure/ports", "/static/measure.js",
    "/static/../app.py", "/loom/..%2F/show", "/%2e%2e/secret.txt", "/../secret.txt", "/?key=", "/?key=guess",
    "/favicon.ico", "/.git/config",
)  # fmt: skip
HOSTS = (
    "evil.example",
    "evil.example:80",
    "127.0.0.1",
    "localhost",
    "127.0.0.1.evil.example",
    "",
    "[::1]:80",
)
ORIGINS = ("http://evil.example", "https://evil.example", "null", "http://127.0.0.1", "file://")

Try = tuple[str, bool, str]  # what was tried, whether it was refused, what came back


def without_the_cookie(serving: Serving) -> Iterator[Try]:
    """Every page, by reading, by sending, with a made-up cookie."""
    for path in PATHS:
        for method in ("GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS"):
            for headers in ({}, {"Cookie": "bench-00000000=guess"}, {"Origin": serving.base}):
                answer = request(serving, method, path, headers)
                told = SECRET in answer.body or b"tail" in answer.body or "set-cookie" in answer.headers
                yield (
                    f"{method} {path} without the cookie",
                    answer.status == 403 and not told,
                    str(answer.status),
                )


def from_elsewhere(serving: Serving, cookie: str) -> Iterator[Try]:
    """With a stolen cookie even: a name that was rebound to this machine, a foreign page."""
    for host in HOSTS:
        answer = request(serving, "GET", "/", {"Cookie": cookie, "Host": host})
        yield f"the page under the name {host!r}", answer.status == 403, str(answer.status)
    for origin in ORIGINS:
        for path in ("/close", "/new/make", "/loom/tail/measure/begin", "/enter"):
            answer = request(serving, "POST", path, {"Cookie": cookie, "Origin": origin}, b"{}")
            yield f"POST {path} from a page of {origin}", answer.status == 403, str(answer.status)
    for path in ("/close", "/new/make", "/loom/tail/measure/begin"):
        answer = request(serving, "POST", path, {"Cookie": cookie}, b"{}")
        yield f"POST {path} from nobody knows where", answer.status == 403, str(answer.status)


def sockets(serving: Serving, cookie: str) -> Iterator[Try]:
    """The socket, without cookie, from a foreign page, under a foreign name."""
    handshake = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
                 "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}  # fmt: skip
    for what, more in (
        ("without the cookie", {"Origin": serving.base}),
        ("from a foreign page", {"Cookie": cookie, "Origin": "http://evil.example"}),
        ("without an origin", {"Cookie": cookie}),
        ("under a foreign name", {"Cookie": cookie, "Origin": serving.base, "Host": "evil.example"}),
    ):
        answer = request(serving, "GET", "/loom/tail/measure/socket", {**handshake, **more})
        yield f"the socket {what}", answer.status == 403, str(answer.status)


def inside_but_outside(serving: Serving, cookie: str) -> Iterator[Try]:
    """With the cookie: files that are none of the page's business, uploads beyond measure."""
    headers = {"Cookie": cookie, "Origin": serving.base}
    for path in ("/static/../app.py", "/loom/..%2F..%2Fsecret.txt/show", "/loom/%2e%2e/answer",
                 "/loom/tail/report?run=..%2F..%2Fsecret", "/loom/tail%00/show"):  # fmt: skip
        answer = request(serving, "GET", path, headers)
        yield f"GET {path}", SECRET not in answer.body and answer.status in (200, 404), str(answer.status)
    for name in ("../../outside", "..", "C:\\x", "/etc/x"):
        body = json.dumps({"name": name, "rows": [["X1:1", "X2:1"]]}).encode()
        request(serving, "POST", "/new/make", headers, body)
        there = [path.name for path in serving.folder.parent.iterdir()]
        yield (
            f"a new loom called {name}",
            sorted(there) == sorted([".loomtest", "secret.txt", "shop"]),
            str(there),
        )
    answer = request(serving, "POST", "/new/sheet?name=a.xlsx", headers, b"x" * 20_000_001)
    yield "an upload of more than 20 MB", answer.status == 413, str(answer.status)


def codes(serving: Serving) -> Iterator[Try]:
    """Guessing the pairing code: five a minute, and then not even the right one."""
    statuses = [request(serving, "POST", "/enter", {}, f"code=GUESS{k:03}".encode()).status for k in range(8)]
    yield "eight guesses of the pairing code", set(statuses) == {403}, str(statuses)
    answer = request(serving, "POST", "/enter", {}, b"code=GUESS999")
    yield "a ninth within the minute", b"Too many wrong codes" in answer.body, str(answer.status)


def listening(serving: Serving, addresses: set[str]) -> Iterator[Try]:
    """Other addresses of this machine do not answer."""
    port = int(serving.host.rpartition(":")[2])
    for address in ("127.0.0.3", "127.1.2.3", *({"127.0.0.2"} - addresses)):
        with socket.socket() as probe:
            probe.settimeout(2)
            refused = probe.connect_ex((address, port)) != 0
        yield f"a connection to {address}", refused, "refused" if refused else "open"


def main() -> int:
    """Print each group with its count; 1 where anything came through."""
    through: list[Try] = []
    for name, options in (("this machine alone", ()), ("--phone", ("--phone", "--address", "127.0.0.2"))):
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder)
            (place / "shop" / "tail").mkdir(parents=True)
            (place / "shop" / "tail" / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
            (place / "secret.txt").write_bytes(SECRET)
            with served(place / "shop", place, *options) as serving:
                cookie = serving.cookie()
                groups = {
                    "without the cookie": without_the_cookie(serving),
                    "from elsewhere": from_elsewhere(serving, cookie),
                    "sockets": sockets(serving, cookie),
                    "files and uploads": inside_but_outside(serving, cookie),
                    "pairing codes": codes(serving),
                    "other addresses": listening(serving, {"127.0.0.2"} if options else set()),
                }
                for group, tries in groups.items():
                    done = list(tries)
                    bad = [each for each in done if not each[1]]
                    through += bad
                    print(f"{name}, {group}: {len(done)} tried, {len(bad)} came through")
    for what, _, came in through:
        print(f"CAME THROUGH: {what}: {came}")
    return int(bool(through))


if __name__ == "__main__":
    sys.exit(main())
