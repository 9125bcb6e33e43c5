"""Nobody else: what comes without the cookie, under a foreign name or from a foreign page is refused."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import ssl
import stat
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from loomtest.web.keys import CODE_LASTS_S, Keyring
from tests.web.serving import Serving, request, served, start

PATHS = (
    "/", "/new", "/screens", "/measure", "/show", "/answer", "/loom/tail", "/loom/tail/measure",
    "/loom/tail/measure/ports", "/static/bench.css", "/static/measure.js", "/nothing", "/../secret.txt",
    "/?key=", "/?key=wrong",
)  # fmt: skip


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    place = tmp_path_factory.mktemp("door")
    folder = place / "shop" / "tail"
    folder.mkdir(parents=True)
    (folder / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (place / "secret.txt").write_text("nobody reads this")
    with served(place / "shop", place) as serving:
        yield serving


@pytest.fixture(scope="module")
def cookie(shop: Serving) -> str:
    return shop.cookie()


@pytest.mark.parametrize("path", PATHS)
def test_without_the_cookie_nothing_is_told(shop: Serving, cookie: str, path: str) -> None:
    for headers in ({}, {"Cookie": cookie[:-3] + "xyz"}, {"Cookie": "other=1"}):
        answer = request(shop, "GET", path, headers)
        assert (answer.status, answer.body) == (403, b"Not here.\n")
    assert request(shop, "POST", path).status == 403


def test_the_printed_address_works_once(shop: Serving, cookie: str) -> None:
    answer = request(shop, "GET", shop.key_address.removeprefix(shop.base))
    assert answer.status == 403
    assert "set-cookie" not in answer.headers
    assert request(shop, "GET", "/", {"Cookie": cookie}).status == 200


def test_the_cookie_is_for_this_page_alone(tmp_path: Path, loom: Path) -> None:
    with served(loom, tmp_path) as serving:
        answer = request(serving, "GET", serving.key_address.removeprefix(serving.base))
    assert re.fullmatch(
        r"bench-\w{8}=[\w-]{43}; Path=/; HttpOnly; SameSite=Strict", answer.headers["set-cookie"]
    )
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example", "[::1]", ""],
)
def test_a_foreign_host_is_refused(shop: Serving, cookie: str, host: str) -> None:
    assert request(shop, "GET", "/", {"Cookie": cookie, "Host": host}).status == 403
    assert request(shop, "GET", "/enter", {"Host": host}).status == 403


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1", "https://127.0.0.1:1", ""]
)
def test_a_foreign_origin_is_refused(shop: Serving, cookie: str, origin: str) -> None:
    for method, path in (("GET", "/"), ("POST", "/close"), ("POST", "/enter"), ("GET", "/enter")):
        assert request(shop, method, path, {"Cookie": cookie, "Origin": origin}).status == 403


def test_a_post_that_says_not_where_it_comes_from_is_refused(shop: Serving, cookie: str) -> None:
    assert request(shop, "POST", "/close", {"Cookie": cookie}).status == 403
    for site in ("cross-site", "same-site"):
        headers = {"Cookie": cookie, "Sec-Fetch-Site": site, "Sec-Fetch-Mode": "no-cors"}
        assert request(shop, "GET", "/static/bench.css", headers).status == 403


def socket_status(shop: Serving, path: str, headers: dict[str, str], origin: str | None) -> int:
    try:
        with connect(
            f"ws://{shop.host}{path}",
            additional_headers=headers,
            origin=origin,
            proxy=None,  # type: ignore[arg-type]
        ):
            return 101
    except InvalidStatus as refused:
        return refused.response.status_code


def test_sockets_are_behind_the_same_door(shop: Serving, cookie: str) -> None:
    path = "/loom/tail/measure/socket"
    good = {"Cookie": cookie}
    assert socket_status(shop, path, good, shop.base) == 101
    assert socket_status(shop, path, {}, shop.base) == 403
    assert socket_status(shop, path, good, "http://evil.example") == 403
    assert socket_status(shop, path, good, None) == 403
    asked = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13"}
    asked |= {"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Origin": shop.base, **good}
    assert request(shop, "GET", path, {**asked, "Host": "evil.example"}).status == 403
    assert socket_status(shop, "/loom/nobody/measure/socket", good, shop.base) == 403


@pytest.mark.parametrize(
    "path",
    ["/static/../app.py", "/static/..%2fapp.py", "/loom/..%2F/show", "/loom/../../secret.txt",
     "/loom/%2e%2e/show", "/loom/tail/answer?run=../../..", "/loom/tail%00/show", "/static/bench.css%00.txt"],
)  # fmt: skip
def test_no_file_outside_the_folder_can_be_named(shop: Serving, cookie: str, path: str) -> None:
    answer = request(shop, "GET", path, {"Cookie": cookie})
    assert b"nobody reads this" not in answer.body
    assert answer.status == 404 or (answer.status == 200 and b"expected one of its runs" in answer.body)


def test_pages_are_not_kept_and_run_no_foreign_script(shop: Serving, cookie: str) -> None:
    for path in ("/", "/enter", "/loom/tail/measure", "/static/measure.js"):
        headers = request(shop, "GET", path, {"Cookie": cookie}).headers
        policy = headers["content-security-policy"]
        assert headers["cache-control"] == "no-store"
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy


def test_enter_says_nothing_of_any_loom(shop: Serving) -> None:
    answer = request(shop, "GET", "/enter")
    assert answer.status == 200
    assert b"tail" not in answer.body
    assert b"loom" not in answer.body.lower()


def test_it_listens_on_this_machine_alone(shop: Serving) -> None:
    port = int(shop.host.rpartition(":")[2])
    hexed = f":{port:04X}"
    listening = [
        line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines() if hexed in line.split()[1]
    ]
    assert set(listening) == {f"0100007F{hexed}"}
    assert not [line for line in Path("/proc/net/tcp6").read_text().splitlines() if hexed in line.split()[1]]


def test_the_cookie_outlives_a_crash_and_not_the_end(loom: Path, tmp_path: Path) -> None:
    serving = start(loom, tmp_path)
    cookie = serving.cookie()
    (kept,) = (tmp_path / ".loomtest").glob("bench-*.json")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert cookie.partition("=")[2] not in kept.read_text()  # hashes alone
    serving.process.kill()
    serving.process.communicate()
    port = serving.host.rpartition(":")[2]
    with served(loom, tmp_path, "--port", port) as again:
        assert request(again, "GET", "/", {"Cookie": cookie}).status == 200
        assert Keyring(kept, time.monotonic).after_crash
    assert not kept.exists()
    with served(loom, tmp_path, "--port", port) as after:
        assert request(after, "GET", "/", {"Cookie": cookie}).status == 403


def test_a_phone_comes_in_with_the_code_once(loom: Path, tmp_path: Path) -> None:
    with served(loom, tmp_path, "--phone", "--address", "127.0.0.2") as serving:
        port = serving.host.rpartition(":")[2]
        phone = f"127.0.0.2:{port}"
        assert request(serving, "GET", "/", {"Host": phone}, at=phone).status == 403
        page = request(serving, "GET", "/screens", {"Cookie": serving.cookie()})
        found = re.search(rb'aria-label="Pairing code">(\w{4}) (\w{4})<', page.body)
        assert found is not None
        code = b"code=" + found[1].lower() + b"+" + found[2]
        said = [request(serving, "POST", "/enter", {"Host": phone}, code, at=phone) for _ in range(2)]
        assert [answer.status for answer in said] == [303, 403]
        cookie = said[0].headers["set-cookie"].partition(";")[0]
        assert request(serving, "GET", "/", {"Host": phone, "Cookie": cookie}, at=phone).status == 200
        assert (
            request(serving, "GET", "/", {"Host": "evil.example", "Cookie": cookie}, at=phone).status == 403
        )


def test_a_phone_s_address_must_be_private(loom: Path, tmp_path: Path) -> None:
    for address in ("8.8.8.8", "0.0.0.0", "here"):
        with pytest.raises(AssertionError, match="expected an address of a private network"):
            start(loom, tmp_path, "--phone", "--address", address)


def test_an_encrypted_page_shows_the_certificate_that_it_told(loom: Path, tmp_path: Path) -> None:
    with served(loom, tmp_path, "--tls") as serving:
        host, _, port = serving.host.rpartition(":")
        shown = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((host, int(port))))
        fingerprint = hashlib.sha256(shown).hexdigest().upper()
        connection = http.client.HTTPSConnection(host, int(port), context=ssl._create_unverified_context())
        connection.request("GET", serving.key_address.removeprefix(serving.base))
        answer = connection.getresponse()
        assert answer.status == 303
        assert "; Secure" in answer.headers["set-cookie"]
        answer.read()
        connection.request("GET", "/", headers={"Cookie": answer.headers["set-cookie"].partition(";")[0]})
        page = connection.getresponse().read().decode()
        connection.close()
        key = tmp_path / ".loomtest" / "bench-key.pem"
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert ":".join(fingerprint[k : k + 2] for k in range(0, 64, 2)) in page


def test_five_wrong_codes_close_the_door_for_a_minute() -> None:
    now_s = [1000.0]
    keyring = Keyring(None, lambda: now_s[0])
    code = keyring.code()
    for wrong in range(5):
        assert keyring.spend_code(f"WRONG{wrong}") == ""
    assert keyring.spend_code(code) == ""  # even the right one
    now_s[0] += 59.0
    assert keyring.spend_code(code) == ""
    now_s[0] += 1.5
    cookie = keyring.spend_code(code.lower())
    assert keyring.knows(cookie)
    assert keyring.spend_code(code) == ""  # once


def test_a_code_grows_old() -> None:
    now_s = [0.0]
    keyring = Keyring(None, lambda: now_s[0])
    code = keyring.code()
    now_s[0] += CODE_LASTS_S
    assert keyring.spend_code(code) == ""
    assert keyring.code() != code
    assert re.fullmatch("[A-HJ-NP-Z]{8}", keyring.code())


def test_a_spoilt_keyring_file_lets_nobody_in(tmp_path: Path) -> None:
    file = tmp_path / "keys.json"
    for text in ("", "[]", "{}", json.dumps({"cookies": 3, "port": "x"}), "\0" * 50):
        file.write_text(text)
        keyring = Keyring(file, time.monotonic)
        assert not keyring.after_crash
        assert not keyring.knows("")
    assert os.access(file, os.R_OK)
