"""A loom and what is known of it: its picture, its wires, its runs, and the answer of each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import Response

from loomtest.errors import InputError, LoomtestError
from loomtest.web.findings import answer as answer_of
from loomtest.web.findings import faults
from loomtest.web.pages import page
from loomtest.words import web as words

if TYPE_CHECKING:
    from loomtest.web.place import JudgedRun, Loom


def loom_facts(loom: Loom) -> dict[str, Any]:
    """What a loom's own page shows. Raises LoomtestError."""
    harness = loom.harness()
    judged = loom.last_answer()
    return {
        "title": harness.name,
        "wires": words.wires(len(harness.wires)),
        "warnings": [words.problem(problem) for problem in harness.warnings],
        "say": answer_of(judged) if judged is not None else {"tone": "soft", "text": words.NOT_MEASURED},
        "faults": faults(judged) if judged is not None else [],
        "runs": [
            run
            for name in reversed(loom.runs())
            if (run := _run(loom, name))["count"] or run["tone"] == "bad"
        ],
    }


def _run(loom: Loom, name: str) -> dict[str, Any]:
    from loomtest.readings.runfile import read_run_file

    facts: dict[str, Any] = {"name": name, "stage": "", "started": "", "count": 0}
    try:
        run = read_run_file(loom.run(name))
        judged = loom.judged(name)
        facts |= {"stage": run.stage, "started": words.when(run.started), "count": len(judged.readings)}
        return facts | answer_of(judged)
    except LoomtestError as error:
        return facts | {"tone": "bad", "text": str(error)}


async def loom_shown(request: Request) -> Response:
    """The picture of the loom: where each wire goes, what is missing from the list."""
    return await _shown(request, "show.html", _picture)


def _picture(loom: Loom, request: Request) -> dict[str, Any]:
    from markupsafe import Markup

    from loomtest.evidence.pictures.drawing import bands, to_svg
    from loomtest.evidence.pictures.loom import loom_picture
    from loomtest.words.where import wire_words

    harness = loom.harness()
    board = loom_picture(harness)
    return {
        "title": harness.name,
        "boards": [
            Markup(to_svg(band, alone=False, ident=f"board-{number}"))
            for number, band in enumerate(bands(board), 1)
        ],
        "warnings": [words.problem(problem) for problem in harness.warnings],
        "doubts": words.missing(harness),
        "rows": [
            {
                "wire": wire.name,
                "from": wire.start,
                "to": wire.end,
                "looks": wire_words(wire),
                "circuit": wire.circuit,
            }
            for wire in harness.wires
        ],
    }


async def answer(request: Request) -> Response:
    """What a run means: the verdict, each fault with its picture, and what to do next."""
    return await _shown(request, "answer.html", _answer)


def _answer(loom: Loom, request: Request) -> dict[str, Any]:
    runs = loom.runs()
    name = request.query_params.get("run") or _last_with_readings(loom)
    if not name:
        return {"title": loom.harness().name, "run": None, "others": [], "rehearsal": False}
    judged = loom.judged(name)
    return {
        "title": judged.harness.name,
        "run": _run(loom, name),
        "others": [run for run in runs if run != name and _run(loom, run)["count"]],
        "rehearsal": judged.verdict.rehearsal,
        **told(judged),
    }


def _last_with_readings(loom: Loom) -> str:
    """The name of the last run that holds a reading; "" where there is none."""
    return next((name for name in reversed(loom.runs()) if len(loom.judged(name).readings)), "")


def told(judged: JudgedRun) -> dict[str, Any]:
    """The verdict with its picture and its cards."""
    from markupsafe import Markup

    from loomtest.evidence.page.page import board_of
    from loomtest.evidence.pictures.drawing import bands, to_svg
    from loomtest.words.plain import NOT_A_LICENCE, coverage_sentences, joints_sentence

    board = board_of(judged.harness, judged.verdict)
    return {
        "say": answer_of(judged),
        "faults": faults(judged),
        "boards": [
            Markup(to_svg(band, alone=False, ident=f"board-{number}"))
            for number, band in enumerate(bands(board), 1)
        ],
        "coverage": [*coverage_sentences(judged.verdict), joints_sentence(judged.verdict)],
        "notes": list(judged.verdict.notes),
        "not_a_licence": NOT_A_LICENCE,
    }


async def _shown(request: Request, template: str, facts_of: Any) -> Response:
    from loomtest.web.screens import base_of, loom_of, not_found

    loom = loom_of(request)
    if loom is None:
        return not_found(request)
    base = base_of(loom, request)
    try:
        facts = await to_thread.run_sync(facts_of, loom, request)
    except InputError as error:
        return page(request, "message.html", title=loom.name, text=str(error), base=base, loom=loom)
    return page(request, template, base=base, loom=loom, **facts)
