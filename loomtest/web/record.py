"""What stays: the report, the comparison of two runs, the kept evidence; made by the evidence room."""

from __future__ import annotations

import re
import uuid
from typing import TYPE_CHECKING, Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from loomtest.errors import InputError, LoomtestError, Problem
from loomtest.web.pages import page
from loomtest.web.place import now
from loomtest.words import web as words

if TYPE_CHECKING:
    from loomtest.web.place import JudgedRun, Loom
    from loomtest.web.served import Served

_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]*)"')


async def report(request: Request) -> Response:
    """The report of a run as one page, to print or to save."""
    from loomtest.web.screens import base_of, loom_of, not_found

    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    name = request.query_params.get("run", "")
    try:
        text = await to_thread.run_sync(_report, loom, name)
    except LoomtestError as error:
        base = base_of(loom, request)
        return page(request, "message.html", title=loom.name, text=str(error), base=base, loom=loom)
    return _as_it_is(request, text, f"report-{name}.html")


async def customer(request: Request) -> Response:
    """The page for the customer: what was wrong, what was done, what it measures now."""
    from loomtest.web.screens import base_of, loom_of, not_found

    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    before, after = (request.query_params.get(side, "") for side in ("before", "after"))
    served: Served = request.app.state.served
    try:
        text = await to_thread.run_sync(_customer, loom, before, after, served)
    except LoomtestError as error:
        base = base_of(loom, request)
        return page(request, "message.html", title=loom.name, text=str(error), base=base, loom=loom)
    return _as_it_is(request, text, f"customer-{after}.html")


def _as_it_is(request: Request, text: str, name: str) -> Response:
    """A page of the evidence room under its own policy, to print or to save."""
    answer = HTMLResponse(text)
    found = _POLICY.search(text)
    policy = found[1] if found else "default-src 'none'"
    answer.headers["content-security-policy"] = f"{policy}; frame-ancestors 'none'"
    if request.query_params.get("save"):
        answer.headers["content-disposition"] = f'attachment; filename="{name}"'
    return answer


def _customer(loom: Loom, before: str, after: str, served: Served) -> str:
    from loomtest.diagnosis.change.change import Side
    from loomtest.evidence.archive.bag import digest_of
    from loomtest.evidence.archive.folder import Archive
    from loomtest.evidence.archive.names import bag_of_readings
    from loomtest.evidence.page.customer import Delivered, Seal, customer_page
    from loomtest.evidence.page.shop import find_shop
    from loomtest.readings.runfile import READINGS_FILE
    from loomtest.readings.together import check_two_runs

    check_two_runs(loom.run(before), loom.run(after))
    first, last = loom.judged(before), loom.judged(after)
    kept = bag_of_readings(Archive(served.archive), digest_of(loom.run(after) / READINGS_FILE))
    return customer_page(
        Delivered(
            harness=last.harness,
            before=Side(first.readings, first.verdict),
            after=Side(last.readings, last.verdict),
            shop=find_shop(loom.folder),
            seal=Seal(bag=kept.name, digest=kept.digest) if kept is not None else None,
        )
    )


def _report(loom: Loom, name: str) -> str:
    from loomtest.evidence.page.page import board_of, report_page

    judged = loom.judged(name)
    board = board_of(judged.harness, judged.verdict)
    return report_page(judged.harness, judged.readings, judged.verdict, judged.readings.instrument, board)


async def keep(request: Request) -> Response:
    """A run goes into the archive, for good."""
    from loomtest.web.screens import loom_of

    loom = loom_of(request)
    served: Served = request.app.state.served
    name = request.query_params.get("run", "")
    if loom is None:
        return JSONResponse({"text": words.NO_SUCH_LOOM_TEXT, "done": False})
    try:
        await served.hub.room(loom).let_go(name)
        text = await to_thread.run_sync(_keep, loom, name, served)
    except LoomtestError as error:
        return JSONResponse({"text": str(error), "done": False})
    return JSONResponse({"text": text, "done": True})


def _keep(loom: Loom, name: str, served: Served) -> str:
    from loomtest.evidence.archive.folder import Archive, default_bench
    from loomtest.evidence.archive.keep import Keeping, keep_run
    from loomtest.evidence.page.page import write_report
    from loomtest.evidence.page.shop import find_shop
    from loomtest.words.verdict import judge

    judged = loom.judged(name)
    chain = loom.before(name)  # of a run of what was mended, the one that it goes on from is kept too
    keeping = Keeping(
        judge=judge,
        report=write_report,
        now=now(),
        identifier=uuid.uuid4().hex[:8],
        rehearsal=judged.verdict.rehearsal,
        bench=default_bench(),
        before=loom.run(chain[0]) if len(chain) == 2 else None,
        shop=find_shop(loom.folder),
    )
    made = keep_run(loom.run(name), Archive(served.archive), keeping)
    return words.kept(str(made.folder), made.entry.digest)


async def compare(request: Request) -> Response:
    """Before and after: what became better, what is gone, what is new."""
    from loomtest.web.screens import base_of, loom_of, not_found

    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    base = base_of(loom, request)
    before, after = (request.query_params.get(side, "") for side in ("before", "after"))
    try:
        facts = await to_thread.run_sync(_compared, loom, before, after)
    except LoomtestError as error:
        return page(request, "message.html", title=loom.name, text=str(error), base=base, loom=loom)
    return page(request, "compare.html", base=base, loom=loom, before=before, after=after, **facts)


def _compared(loom: Loom, before: str, after: str) -> dict[str, Any]:
    from markupsafe import Markup

    from loomtest.diagnosis.change.change import Side, change_between
    from loomtest.evidence.pictures.drawing import to_svg
    from loomtest.evidence.plots.plots import circuits_plot, faults_plot
    from loomtest.words.change import change_lines

    if before == after:
        raise InputError([Problem(words.THE_NAME, None, "run", after, "two different runs")])
    first, last = loom.judged(before), loom.judged(after)
    sides = [Side(each.readings, each.verdict, None) for each in (first, last)]
    change = change_between(last.harness, *sides)
    plots = [
        circuits_plot(last.harness, change),
        faults_plot(last.harness, change, first.verdict, last.verdict),
    ]
    return {
        "title": last.harness.name,
        "lines": change_lines(change, last.harness)[1:],
        "plots": [Markup(to_svg(plot, alone=False, ident=f"plot-{k}")) for k, plot in enumerate(plots, 1)],
        "rehearsal": _any_rehearsal(first, last),
    }


def _any_rehearsal(*runs: JudgedRun) -> bool:
    return any(run.verdict.rehearsal for run in runs)
