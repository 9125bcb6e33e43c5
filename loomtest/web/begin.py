"""A new loom: from notes, from a spreadsheet, or typed into a grid; what is typed is kept as it is typed."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from loomtest.errors import InputError, LoomtestError
from loomtest.web.door import LARGEST_BODY_BYTES
from loomtest.web.given import json_object
from loomtest.web.pages import page
from loomtest.words import web as words

if TYPE_CHECKING:
    from loomtest.web.served import Served

DRAFT = "new-loom.draft.json"
LARGEST_NOTES_BYTES = 5_000_000


async def new_loom(request: Request) -> Response:
    """The screen where a loom begins, as it was left."""
    served: Served = request.app.state.served
    if served.place.single is not None:
        return page(request, "message.html", title=words.NEW_LOOM, text=words.ONE_LOOM_ONLY)
    return page(request, "new.html")


async def read_notes(request: Request) -> Response:
    """What the notes are read as, line by line."""
    from loomtest.web.notepad import as_read

    return await _answered(request, lambda given: as_read(_text(given, "notes"), _texts(given, "answers")))


async def keep_draft(request: Request) -> Response:
    """What was typed, on disk before the answer; asked for, what is kept."""
    served: Served = request.app.state.served
    if request.method == "GET":
        file = served.place.folder / DRAFT
        text = await to_thread.run_sync(lambda: file.read_text("utf-8") if file.is_file() else "{}")
        return Response(text, media_type="application/json")

    def keep(given: dict[str, Any]) -> dict[str, Any]:
        _write_durably(served.place.folder / DRAFT, json.dumps(given, ensure_ascii=False))
        return {"kept": True}

    return await _answered(request, keep)


async def read_sheet(request: Request) -> Response:
    """The rows of a file that was dropped."""
    from loomtest.web.notepad import rows_of_file

    content = await _limited(request, LARGEST_BODY_BYTES)
    if content is None:
        return JSONResponse({"error": words.TOO_LARGE}, 413)
    name = request.query_params.get("name", "")[:200]
    try:
        return JSONResponse(await to_thread.run_sync(rows_of_file, name, content))
    except LoomtestError as error:
        return JSONResponse({"error": str(error)})


async def make_loom(request: Request) -> Response:
    """The folder of the new loom; its address."""
    from loomtest.web.notepad import make_folder

    served: Served = request.app.state.served

    def make(given: dict[str, Any]) -> dict[str, Any]:
        if served.place.single is not None:
            return {"error": words.ONE_LOOM_ONLY}
        folder = make_folder(served.place.folder, _text(given, "name"), given)
        (served.place.folder / DRAFT).unlink(missing_ok=True)
        return {"address": f"/loom/{quote(folder.name, safe='')}"}

    return await _answered(request, make)


async def _answered(request: Request, work: Callable[[dict[str, Any]], dict[str, Any]]) -> Response:
    """The answer to a JSON object, or what is wrong with it in a sentence."""
    body = await _limited(request, LARGEST_NOTES_BYTES)
    if body is None:
        return JSONResponse({"error": words.TOO_LARGE}, 413)
    given = json_object(body)
    if given is None:
        return JSONResponse({"error": words.NOT_UNDERSTOOD}, 400)
    try:
        return JSONResponse(await to_thread.run_sync(work, given))
    except InputError as error:
        return JSONResponse({"error": "\n".join(words.problem(each) for each in error.problems[:20])})
    except OSError as error:
        return JSONResponse({"error": words.disk_says((error.strerror or str(error)).lower())})


async def _limited(request: Request, most: int) -> bytes | None:
    from loomtest.web.screens import limited_body

    return await limited_body(request, most)


def _write_durably(file: Path, text: str) -> None:
    partial = file.with_name(f".{file.name}.new")
    with partial.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    partial.replace(file)


def _text(given: dict[str, Any], name: str) -> str:
    value = given.get(name)
    return value if isinstance(value, str) else ""


def _texts(given: dict[str, Any], name: str) -> dict[str, str]:
    value = given.get(name)
    return {str(key): str(each) for key, each in value.items()} if isinstance(value, dict) else {}
