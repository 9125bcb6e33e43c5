"""The application: which address shows what, behind the door."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp

from loomtest.web import begin, record, screens, show, sockets
from loomtest.web.door import Door
from loomtest.web.pages import static
from loomtest.web.served import Served


def application(served: Served) -> ASGIApp:
    """The whole page behind its door."""
    routes: list[BaseRoute] = [
        Route("/", screens.front),
        Route("/enter", screens.enter, methods=["GET", "POST"]),
        Route("/screens", screens.other_screens),
        Route("/close", screens.close, methods=["POST"]),
        Route("/static/{file}", static),
        Route("/new", begin.new_loom),
        Route("/new/read", begin.read_notes, methods=["POST"]),
        Route("/new/draft", begin.keep_draft, methods=["GET", "POST"]),
        Route("/new/sheet", begin.read_sheet, methods=["POST"]),
        Route("/new/make", begin.make_loom, methods=["POST"]),
    ]
    for prefix in ("", "/loom/{name}"):
        routes += [
            Route(prefix + "/measure", screens.measure),
            WebSocketRoute(prefix + "/measure/socket", sockets.measuring),
            Route(prefix + "/measure/begin", screens.begin_run, methods=["POST"]),
            Route(prefix + "/measure/ports", screens.ports),
            *([Route(prefix, screens.loom_page)] if prefix else []),
            Route(prefix + "/show", show.loom_shown),
            Route(prefix + "/answer", show.answer),
            Route(prefix + "/report", record.report),
            Route(prefix + "/keep", record.keep, methods=["POST"]),
            Route(prefix + "/compare", record.compare),
            Route(prefix + "/customer", record.customer),
        ]
    app = Starlette(routes=routes)
    app.state.served = served
    return Door(
        app, served.keyring, served.origins, served.cookie, served.see, "/measure" if served.demo else "/"
    )
