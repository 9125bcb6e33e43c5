"""The screens around a loom: the front page, its own page, the measuring screen, letting other screens in."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Callable
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from loomtest.errors import InputError, LoomtestError, Problem
from loomtest.web.door import cookie_header
from loomtest.web.findings import answer
from loomtest.web.given import json_object
from loomtest.web.pages import page, plain_page
from loomtest.words import web as words

if TYPE_CHECKING:
    from loomtest.web.place import Loom
    from loomtest.web.served import Served
    from loomtest.web.sitting import BenchSitting

CODE_WRONG_S = 0.3
LARGEST_FORM_BYTES = 4000
REHEARSE = "rehearse:"
OPEN_AFTER_S = 4.0  # over-range that lasts so long is taken, where no hand is free for a key


def base_of(loom: Loom, request: Request) -> str:
    """Where a loom's screens stand: "" for the one loom, else `/loom/NAME`."""
    served: Served = request.app.state.served
    return "" if served.place.single is loom else f"/loom/{quote(loom.name, safe='')}"


def loom_of(request: Request) -> Loom | None:
    """The loom that the address names."""
    served: Served = request.app.state.served
    return served.place.loom(request.path_params.get("name"))


def not_found(request: Request) -> Response:
    """There is no such loom."""
    return page(request, "message.html", 404, title=words.NO_SUCH_LOOM, text=words.NO_SUCH_LOOM_TEXT)


async def front(request: Request) -> Response:
    """The one loom's page, or the looms of the workshop."""
    served: Served = request.app.state.served
    if served.place.single is not None:
        return await loom_page(request)
    looms = await to_thread.run_sync(lambda: [_row(loom, request) for loom in served.place.looms()])
    return page(request, "looms.html", looms=looms, who=who_sees(served))


def _row(loom: Loom, request: Request) -> dict[str, object]:
    try:
        harness = loom.harness()
        judged = loom.last_answer()
        say = answer(judged) if judged is not None else {"tone": "soft", "text": words.NOT_MEASURED}
        return {
            "base": base_of(loom, request),
            "name": harness.name,
            "wires": words.wires(len(harness.wires)),
            **say,
        }
    except LoomtestError as error:
        return {
            "base": base_of(loom, request),
            "name": loom.name,
            "wires": "",
            "tone": "bad",
            "text": str(error),
        }


async def loom_page(request: Request) -> Response:
    """What can be done with a loom, and what the last run said."""
    from loomtest.web.show import loom_facts

    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    try:
        facts = await to_thread.run_sync(loom_facts, loom)
    except LoomtestError as error:
        text = str(error)
        return page(
            request, "message.html", title=loom.name, text=text, base=base_of(loom, request), loom=loom
        )
    served: Served = request.app.state.served
    who = who_sees(served) if served.place.single else ""
    return page(request, "loom.html", base=base_of(loom, request), loom=loom, who=who, **facts)


async def measure(request: Request) -> Response:
    """The measuring screen."""
    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    try:
        harness = await to_thread.run_sync(loom.harness)
    except LoomtestError as error:
        text = str(error)
        return page(
            request, "message.html", title=loom.name, text=text, base=base_of(loom, request), loom=loom
        )
    meters = words.METERS
    return page(
        request,
        "measure.html",
        base=base_of(loom, request),
        loom=loom,
        title=harness.name,
        instruments=meters,
    )


async def begin_run(request: Request) -> Response:
    """Start another run, or go on with one that was stopped."""
    loom = loom_of(request)
    body = await limited_body(request, LARGEST_FORM_BYTES)
    wanted = json_object(body or b"")
    if loom is None or wanted is None:
        return JSONResponse({"done": False, "text": words.NO_SUCH_LOOM_TEXT}, 400)
    served: Served = request.app.state.served
    try:
        make = await to_thread.run_sync(wished, loom, {key: str(value) for key, value in wanted.items()})
        await served.hub.room(loom).begin(make)
    except LoomtestError as error:
        return JSONResponse({"done": False, "text": str(error)})
    return JSONResponse({"done": True, "text": words.RUN_BEGAN})


def wished(loom: Loom, wanted: dict[str, str]) -> Callable[[], BenchSitting]:
    """What makes the sitting that was asked for. Raises InputError for what cannot be."""
    from loomtest.bench.meter.port import ports_found
    from loomtest.web.sitting import BenchSitting
    from loomtest.web.wishes import SittingWishes

    if run := wanted.get("run"):
        folder = loom.run(run)
        return lambda: BenchSitting(loom, folder, SittingWishes())
    meter, instrument = wanted.get("meter", ""), wanted.get("instrument", "")
    if meter == REHEARSE:
        meter = f"{REHEARSE}{loom.folder}"
    elif meter and meter not in [port.device for port in ports_found()]:
        raise InputError([Problem("meter", None, "", meter, "one of the ports that are plugged in")])
    if instrument and instrument not in [each["name"] for each in words.METERS]:
        raise InputError([Problem("instrument", None, "", instrument, "one of the list")])
    after = wanted.get("after", "")
    if after:
        loom.run(after)
    open_after_s = OPEN_AFTER_S if meter and wanted.get("hands") == "free" else None
    wishes = SittingWishes(wanted.get("stage", "")[:40], "", instrument, meter, open_after_s, after=after)
    return lambda: BenchSitting(loom, loom.next_run(), wishes)


async def ports(request: Request) -> Response:
    """The serial ports that are plugged in, and the rehearsed one."""
    from loomtest.bench.meter.port import ports_found

    found = await to_thread.run_sync(ports_found)
    rows = [{"port": port.device, "text": words.port(port.device, port.description)} for port in found]
    return JSONResponse({"ports": [*rows, {"port": REHEARSE, "text": words.REHEARSED_METER}]})


async def enter(request: Request) -> Response:
    """Takes the pairing code of another screen; says nothing of any loom."""
    served: Served = request.app.state.served
    said = ""
    code = request.query_params.get("code", "")
    if request.method == "POST":
        body = await limited_body(request, LARGEST_FORM_BYTES)
        code = parse_qs((body or b"").decode("utf-8", "replace")).get("code", [""])[0]
    if request.method == "POST" and code:
        cookie = served.keyring.spend_code(code)
        if cookie:
            secure = served.origins[0].startswith("https")
            header = cookie_header(served.cookie, cookie, secure)
            return RedirectResponse("/", 303, {"set-cookie": header})
        await asyncio.sleep(CODE_WRONG_S)
        said = words.CODES_LOCKED if served.keyring.locked else words.CODE_WRONG
        return plain_page(request, "enter.html", 403, said=said, code="")
    return plain_page(request, "enter.html", said=said, code=code[:16])


async def other_screens(request: Request) -> Response:
    """The pairing code for a phone, as letters and as a picture to photograph."""
    import segno

    served: Served = request.app.state.served
    if not served.phone:
        return page(request, "screens.html", code="", picture="", address="", who=who_sees(served))
    code = served.keyring.code()
    address = f"{served.phone}/enter"
    drawn = io.BytesIO()
    segno.make(f"{address}?code={code}", error="m").save(
        drawn, kind="svg", xmldecl=False, svgns=True, scale=6, border=3, dark="#000", light="#fff"
    )
    return page(
        request, "screens.html", code=f"{code[:4]} {code[4:]}", picture=drawn.getvalue().decode(),
        address=address, who=who_sees(served),
    )  # fmt: skip


async def close(request: Request) -> Response:
    """The person has finished: every run is closed, and the program ends."""
    request.app.state.served.closing = True
    return page(request, "message.html", title=words.TITLE, text=words.CLOSED)


def who_sees(served: Served) -> str:
    """In plain words: who on the network can see what."""
    if served.fingerprint:
        address = served.phone or served.origins[0]
        return words.WHO_SEES_TLS.format(address=address, fingerprint=served.fingerprint)
    if served.phone:
        return words.WHO_SEES_PHONE.format(address=served.phone)
    return words.WHO_SEES_LOOPBACK


async def limited_body(request: Request, most: int) -> bytes | None:
    """The body, or None where it is larger than `most` bytes; no more than that is ever held."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > most:
            return None
        parts.append(part)
    return b"".join(parts)
