"""A new loom: from notes, from a spreadsheet, or typed into a grid."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from loomtest.web.pages import page


async def new_loom(request: Request) -> Response:
    """The screen where a loom begins."""
    return page(request, "new.html")


async def read_notes(request: Request) -> Response:
    """What the notes are read as, line by line."""
    return Response("", 501)


keep_draft = read_sheet = make_loom = read_notes
