"""The door: what comes without the cookie, under a foreign name or from a foreign page is refused.

It stands before everything else that is served, sockets included. Sources: RFC 6265 (cookies), the draft
that follows it (SameSite; from memory), RFC 6454 (Origin), Content Security Policy Level 3 (from memory).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from loomtest.web.keys import Keyring

LARGEST_BODY_BYTES = 20_000_000
OPEN_PATHS = ("/enter",)  # takes the pairing code, and says nothing of any loom
_PRIVATE = {"cache-control": "no-store", "referrer-policy": "no-referrer"}


class Door:
    """An ASGI application before another. `origins`: `http://127.0.0.1:8080` and the like, all that are ours.

    `seen` is called with every request that came in; `first` is the page that a new screen goes to.
    """

    def __init__(
        self,
        app: ASGIApp,
        keyring: Keyring,
        origins: tuple[str, ...],
        cookie: str,
        seen: Callable[[], None],
        first: str = "/",
    ) -> None:
        self._app, self._keyring, self._origins, self._cookie = app, keyring, origins, cookie
        self._hosts = {origin.partition("//")[2] for origin in origins}
        self._seen, self._first = seen, first
        self._loopback_only = all(_is_loopback(host.rpartition(":")[0]) for host in self._hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let in, or refuse with 403 and not a word."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        known = self._keyring.knows(_cookie_of(headers, self._cookie))
        if not self._at_home(scope, headers):
            await _refuse(scope, receive, send)
            return
        key = _key_of(scope)
        if key and (cookie := "" if known else self._keyring.spend_key(key)):
            secure = self._origins[0].startswith("https")
            set_cookie = cookie_header(self._cookie, cookie, secure)
            await RedirectResponse(self._first, 303, {"set-cookie": set_cookie, **_PRIVATE})(
                scope, receive, send
            )
            return
        if not known and not (scope["type"] == "http" and scope["path"] in OPEN_PATHS):
            await _refuse(scope, receive, send)
            return
        scope["known"] = known
        self._seen()

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                _guard(MutableHeaders(scope=message), self._origins)
            await send(message)

        await self._app(scope, receive, guarded if scope["type"] == "http" else send)

    def _at_home(self, scope: Scope, headers: Headers) -> bool:
        """Asked for by our name, from our own page or by hand, and from where we listen to."""
        client = scope.get("client")
        if client is None or not _is_near(client[0], self._loopback_only):
            return False
        if len(headers.getlist("host")) != 1 or headers["host"].lower() not in self._hosts:
            return False
        origin = headers.get("origin")
        if origin is not None:
            return headers.getlist("origin") == [origin] and origin.lower() in self._origins
        if scope["type"] == "websocket":
            return False  # every browser says where a socket is asked from
        reads = scope["method"] in ("GET", "HEAD")
        if headers.get("sec-fetch-site", "none") in ("cross-site", "same-site"):
            return reads and headers.get("sec-fetch-mode") == "navigate"
        return reads or scope["path"] in OPEN_PATHS


def _key_of(scope: Scope) -> str:
    """The key of the address that was printed; "" for any other request."""
    if scope["type"] != "http" or scope["method"] != "GET" or scope["path"] != "/":
        return ""
    return next(
        (value for name, value in parse_qsl(scope["query_string"].decode("latin-1")) if name == "key"), ""
    )


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008})  # before it is accepted: 403
        return
    body = b"Not here.\n"
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": body if scope["method"] != "HEAD" else b""})


def _guard(headers: MutableHeaders, origins: tuple[str, ...]) -> None:
    sockets = " ".join(origin.replace("http", "ws", 1) for origin in origins)
    headers.setdefault(
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        f"connect-src 'self' {sockets}; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    )
    headers.setdefault("cache-control", "no-store")
    headers.setdefault("x-content-type-options", "nosniff")
    headers.setdefault("referrer-policy", "same-origin")
    headers.setdefault("cross-origin-opener-policy", "same-origin")
    headers.setdefault("cross-origin-resource-policy", "same-origin")


def cookie_header(name: str, value: str, secure: bool) -> str:
    """The Set-Cookie line of a screen that was let in; it goes when the browser is closed."""
    return f"{name}={value}; Path=/; HttpOnly; SameSite=Strict" + ("; Secure" if secure else "")


def _cookie_of(headers: Headers, name: str) -> str:
    try:
        morsel = SimpleCookie("; ".join(headers.getlist("cookie"))).get(name)
    except CookieError:
        return ""
    return morsel.value if morsel is not None else ""


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def _is_near(host: str, loopback_only: bool) -> bool:
    """Whether a client may be heard at all: this machine; with a phone asked for, its private network."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    return address.is_loopback if loopback_only else address.is_private or address.is_link_local
