"""Pages made of templates, and the few files that they load; all of it is read once, from the package."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from loomtest.words import web as words

if TYPE_CHECKING:
    from jinja2 import Environment

KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(str(files("loomtest.web") / "templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["words"] = words
    return environment


def page(request: Request, template: str, status: int = 200, **facts: Any) -> Response:
    """A page; `facts` fill it."""
    facts = {"phone": request.app.state.served.phone, "base": "", "loom": None, **facts}
    return HTMLResponse(_environment().get_template(template).render(facts), status)


def plain_page(request: Request, template: str, status: int = 200, **facts: Any) -> Response:
    """A page that loads nothing, for those not in yet: its style stands in it, allowed by its hash."""
    style = (files("loomtest.web") / "templates" / "enter.css").read_text(encoding="utf-8").strip()
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    answer = HTMLResponse(_environment().get_template(template).render(style=Markup(style), **facts), status)
    answer.headers["content-security-policy"] = (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    )
    return answer


@cache
def static_files() -> dict[str, tuple[bytes, str]]:
    """Name to content and kind of every file that pages load. No name leads anywhere else."""
    from loomtest.evidence.pictures.drawing import paint_rules, palette
    from loomtest.evidence.pictures.look import DARK, LIGHT

    found = {}
    for file in (files("loomtest.web") / "static").iterdir():
        kind = next((kind for ending, kind in KINDS.items() if file.name.endswith(ending)), "")
        if kind:
            found[file.name] = file.read_bytes(), kind
    colours = (
        f":root{{{palette(LIGHT)}}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{palette(DARK)}}}}}\n{paint_rules()}\n"
    )
    found["colours.css"] = colours.encode(), "text/css"
    return found


async def static(request: Request) -> Response:
    """A file of the package by its name."""
    content, kind = static_files().get(request.path_params["file"], (b"", ""))
    if not kind:
        return Response("Not found.\n", 404, media_type="text/plain")
    return Response(content, media_type=kind)
