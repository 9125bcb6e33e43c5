"""Starts the server, opens its sockets on the addresses that were asked for and no other, and ends it."""

from __future__ import annotations

import asyncio
import errno
import hashlib
import ipaddress
import signal
import socket
import threading
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import FrameType

import uvicorn

from loomtest.errors import InputError, Problem
from loomtest.web.app import application
from loomtest.web.keys import Keyring, keyring_file
from loomtest.web.place import Place
from loomtest.web.rehearsed import play
from loomtest.web.served import Served

LOOPBACK = "127.0.0.1"
USUAL_PORT = 8547
PORTS_TRIED = 20


@dataclass(frozen=True)
class Opening:
    """How the page is served. `port` 0: the usual one, or the next that is free."""

    folder: Path
    archive: Path
    port: int = 0
    phone: bool = False
    tls: bool = False
    demo: bool = False
    address: str = ""


class BenchServer:
    """A server that is open but does not answer yet: `addresses` first, then `run`."""

    def __init__(self, opening: Opening) -> None:
        self.keyring = Keyring(keyring_file(opening.folder), time.monotonic)
        outside = (opening.address or own_address()) if opening.phone else ""
        self._sockets = _listening(
            [LOOPBACK, *([outside] if outside else [])], opening.port, self.keyring.port
        )
        port = self._sockets[0].getsockname()[1]
        self.keyring.port = port
        self.keyring.keep()
        self._playing: asyncio.Task[None] | None = None
        self._files: tuple[str, str] | None = None
        fingerprint = ""
        if opening.tls:
            from loomtest.web.tls import certificate

            self._files, fingerprint = certificate(keyring_file(opening.folder).parent, [LOOPBACK, outside])
        scheme = "https" if opening.tls else "http"
        self.origins = tuple(f"{scheme}://{host}:{port}" for host in (LOOPBACK, "localhost", outside) if host)
        name = hashlib.sha256(str(opening.folder.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[
            :8
        ]
        self.served = Served(
            Place(opening.folder),
            self.keyring,
            self.origins,
            f"bench-{name}",
            opening.archive,
            phone=f"{scheme}://{outside}:{port}" if outside else "",
            fingerprint=fingerprint,
            demo=opening.demo,
        )

    def address(self) -> str:
        """An address with a key that works once."""
        return f"{self.origins[0]}/?key={self.keyring.new_key()}"

    def run(self, started: Callable[[], None]) -> None:
        """Serve until it is ended; `started` is called once it answers."""
        config = uvicorn.Config(
            application(self.served),
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="websockets-sansio",
            ws_max_size=1_000_000,
            timeout_graceful_shutdown=1,
            limit_concurrency=200,
            ssl_certfile=self._files[0] if self._files else None,
            ssl_keyfile=self._files[1] if self._files else None,
        )
        server = _OwnSignals(config)

        def end(_number: int, _frame: FrameType | None) -> None:
            server.should_exit = True

        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, end)
        try:
            asyncio.run(self._serve(server, started))
        finally:
            self.served.hub.close()
            self.keyring.forget()

    async def _serve(self, server: uvicorn.Server, started: Callable[[], None]) -> None:
        serving = asyncio.create_task(server.serve(sockets=self._sockets))
        while not server.started and not serving.done():
            await asyncio.sleep(0.01)
        if server.started:
            started()
            if self.served.demo:
                self._playing = asyncio.create_task(play(self.served))
            threading.Thread(target=_warm, daemon=True).start()
        while not serving.done():
            if self.served.closing or self.served.alone:
                server.should_exit = True
            await asyncio.wait([serving], timeout=0.5)
        if self._playing is not None:
            self._playing.cancel()
        await serving


def _warm() -> None:
    """What the first sitting needs is imported while the person reads the first screen."""
    for module in ("faces", "sitting"):
        import_module(f"loomtest.web.{module}")


class _OwnSignals(uvicorn.Server):
    """Ended by us: a request to end closes every run first, and is no error."""

    @contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        """Nothing is captured."""
        yield


def own_address() -> str:
    """This machine's address on its private network. Raises InputError where there is none.

    A datagram socket that is connected sends nothing; the system only says which way it would go.
    """
    found = ""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("10.255.255.255", 1))
        found = str(probe.getsockname()[0])
    if not found or not is_private(found):
        expected = "a private network, such as the workshop's own wireless; or name it with --address"
        raise InputError([Problem("--phone", None, "", found or "no network", expected)])
    return found


def is_private(address: str) -> bool:
    """Whether an address belongs to this machine's own or to a private network."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return False
    return parsed.version == 4 and parsed.is_private and not parsed.is_unspecified


def _listening(hosts: list[str], wanted: int, last: int) -> list[socket.socket]:
    """A socket for each host, all on one port: the one that was asked for, else the last, else a free one."""
    tries = [wanted] if wanted else [last or USUAL_PORT, *range(USUAL_PORT, USUAL_PORT + PORTS_TRIED), 0]
    for port in tries:
        opened: list[socket.socket] = []
        try:
            for host in hosts:
                opened.append(_bound(host, opened[0].getsockname()[1] if opened else port))
        except OSError as error:
            for each in opened:
                each.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES) or port == tries[-1]:
                expected = (
                    "a port that is free"
                    if error.errno == errno.EADDRINUSE
                    else "an address of this computer"
                )
                found = f"port {port}: {(error.strerror or str(error)).lower()}"
                raise InputError([Problem("--port", None, "", found, expected)]) from error
            continue
        return opened
    raise AssertionError("the last try raises")


def _bound(host: str, port: int) -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if not hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # on Windows reuse lets another take the port
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((host, port))
        opened.listen(100)
    except OSError:
        opened.close()
        raise
    return opened
