"""The report: one self-contained page for the customer and for the file, and the pictures beside it."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from loomtest.diagnosis.verdict import Verdict, WireRow
from loomtest.errors import InputError, Problem
from loomtest.evidence.page.faults import LoomIndex, fault_cards
from loomtest.evidence.page.first import MOST_SAID, looked_at, meaning, tally
from loomtest.evidence.page.measured import how_measured, limits_held, meter_ranges, source_name
from loomtest.evidence.page.templates import templates
from loomtest.evidence.page.wires import axis_of, wire_rows
from loomtest.evidence.pictures.drawing import (
    Drawing,
    bands,
    paint_rules,
    palette,
    to_svg,
    with_caption,
)
from loomtest.evidence.pictures.look import DARK, LIGHT
from loomtest.evidence.pictures.loom import MOST_HUBS, loom_picture
from loomtest.evidence.pictures.png import save_png
from loomtest.harness.model import Harness, connector_of
from loomtest.harness.outward import json_text
from loomtest.readings.model import Instrument, Readings
from loomtest.words.cautions import CAUTIONS
from loomtest.words.conditions import REHEARSAL, conditions, job_words
from loomtest.words.labels import NET_WORD, OUTCOME_TONE, ROW_TONE
from loomtest.words.lines import held, sentence
from loomtest.words.numbers import counted, ohms
from loomtest.words.plain import (
    NOT_A_LICENCE,
    coverage_sentences,
    doubts,
    headline,
    joints_sentence,
    untested_sentences,
)
from loomtest.words.sittings import runs_said

MOST_FAULTS = 200
MOST_ROWS_PRINTED = 3  # rows of the picture that are printed whether a fault is in them or not
MOST_UNTESTED = 60
MOST_GOOD_ROWS = 300  # circuits and wires that are as they should be are all shown up to here
SOME_GOOD_ROWS = 60  # and of more, so many
MOST_BAD_ROWS = 1000


def write_report(
    harness: Harness, readings: Readings, verdict: Verdict, out: Path, instrument: Instrument | None = None
) -> list[Path]:
    """Write report.html, loom.svg, loom.png and verdict.json into the folder `out`; their paths.

    `instrument` is what the verdict was reached with; without it, the one of the readings. Raises
    InputError where `out` cannot be a folder.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = "a file" if out.exists() else (error.strerror or str(error)).lower()
        raise InputError([Problem(str(out), None, "", found, "a folder to write the report into")]) from error
    board = board_of(harness, verdict)
    page = report_page(harness, readings, verdict, instrument or readings.instrument, board)
    paths = [out / name for name in ("report.html", "loom.svg", "loom.png", "verdict.json")]
    save_whole(paths[0], page)
    save_whole(paths[1], to_svg(board, alone=True))
    save_png(board, paths[2])
    save_whole(paths[3], json_text(verdict.to_json()) + "\n")
    return paths


def save_whole(path: Path, text: str) -> None:
    """The file as a whole, or as it was: half a report says less than it seems to."""
    partial = path.with_name(f".{path.name}.new")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def board_of(harness: Harness, verdict: Verdict) -> Drawing:
    """The picture of the loom, its faults numbered as in the report."""
    found = verdict.findings[:MOST_FAULTS]
    board = loom_picture(harness, found, doubts(verdict, harness)[:MOST_FAULTS])
    return with_caption(board, REHEARSAL) if verdict.rehearsal else board


def report_page(
    harness: Harness, readings: Readings, verdict: Verdict, instrument: Instrument | None, board: Drawing
) -> str:
    """The page as HTML: everything inline, no script or style but its own, no network."""
    from markupsafe import Markup

    here = Path(__file__).parent
    style = with_palette((here / "page.css").read_text(encoding="utf-8"))
    script = (here / "page.js").read_text(encoding="utf-8")
    found = list(verdict.findings)
    doubtful = doubts(verdict, harness)[:MOST_FAULTS]
    loom = LoomIndex.of(harness)
    context = {
        "style": Markup(style),
        "style_hash": page_hash(style),
        "script": Markup(script),
        "script_hash": page_hash(script),
        "boards": _boards(board),
        "meaning": meaning(found, harness, loom.by_name),
        "more_meant": max(0, len(found) - MOST_SAID),
        "findings": fault_cards(found[:MOST_FAULTS], loom, 1, "bad"),
        "more_findings": max(0, len(found) - MOST_FAULTS),
        "undecided": fault_cards(doubtful, loom, min(len(found), MOST_FAULTS) + 1, "doubt"),
        **_answer(harness, readings, verdict, instrument),
        **_tables(harness, verdict),
        "how": how_measured(readings, instrument),
        "ranges": meter_ranges(instrument),
        "limits": limits_held(harness, verdict),
        "cautions": CAUTIONS,
        "footer": f"Made with loomtest {version('loomtest')} from {source_name(readings) or 'readings'}.",
    }
    return templates(here).get_template("page.html").render(context)


def _boards(board: Drawing) -> list[dict[str, Any]]:
    """The rows of the picture. `calm`: one of many, in which nothing is marked."""
    from markupsafe import Markup

    rows = bands(board)
    marks = {"bad", "doubt"}
    return [
        {
            "svg": Markup(to_svg(row, alone=False, ident=f"board-{number}", sized=True)),
            "calm": len(rows) > MOST_ROWS_PRINTED
            and not any({getattr(i, "fill", ""), getattr(i, "stroke", "")} & marks for i in row.items),
        }
        for number, row in enumerate(rows, 1)
    ]


def _answer(
    harness: Harness, readings: Readings, verdict: Verdict, instrument: Instrument | None
) -> dict[str, Any]:
    run = readings.run
    hubs = {connector_of(point) or point for point in harness.points}
    facts = [run.stage, run.started.replace("T", " ")[:16], run.operator, *job_words(run.job)] if run else []
    facts += [counted(len(readings), "reading"), instrument.name if instrument else ""]
    return {
        "title": f"{verdict.harness}: {headline(verdict, harness)}",
        "harness": verdict.harness,
        "facts": [fact for fact in facts if fact],
        "tone": OUTCOME_TONE[verdict.verdict],
        "say": headline(verdict, harness),
        "rehearsal": REHEARSAL if verdict.rehearsal else "",
        "conditions": conditions(verdict),
        "joints": held("Joints: " + joints_sentence(verdict)),
        "tally": tally(verdict),
        "looked_at": looked_at(verdict),
        "coverage": coverage_sentences(verdict),
        "not_a_licence": NOT_A_LICENCE,
        "notes": [
            *map(sentence, verdict.notes),
            *runs_said(readings),
            *(_nearby(problem) for problem in (*harness.warnings, *readings.warnings)),
        ],
        "faces_known": all(hub in harness.faces for hub in hubs if hub not in harness.code_of),
        "lies": harness.lie is not None,
        "whole_board": len(hubs) <= MOST_HUBS,
        "hubs": counted(len(hubs), "connector or terminal", "connectors and terminals"),
    }


def _nearby(problem: Problem) -> str:
    """A warning with the name of its file, without the way to it."""
    return str(replace(problem, file=Path(problem.file).name))


def _tables(harness: Harness, verdict: Verdict) -> dict[str, Any]:
    worst = {"fail": 0, "undecided": 1, "untested": 2, "pass": 3}
    nets = sorted(verdict.nets, key=lambda net: worst[net.verdict])
    wires = sorted(verdict.wires, key=lambda wire: worst[wire.verdict])
    if sum(wire.verdict == "pass" for wire in wires) > MOST_GOOD_ROWS:  # those nearest to their limits
        wires.sort(key=lambda wire: (worst[wire.verdict], -_share_of_limit(wire)))
    shown_nets, more_nets = _bad_and_some_good([net.verdict == "pass" for net in nets], "circuit")
    shown_wires, more_wires = _bad_and_some_good([wire.verdict == "pass" for wire in wires], "wire")
    axis = axis_of(verdict.wires)
    untested = untested_sentences(verdict.untested)
    return {
        "untested": untested[:MOST_UNTESTED],
        "more_untested": len(untested) > MOST_UNTESTED,
        "nets": [
            {
                "name": net.net,
                "points": ", ".join(net.points[:40]) + (" …" if len(net.points) > 40 else ""),
                "tone": ROW_TONE[net.verdict],
                "word": NET_WORD[net.verdict],
            }
            for net in (nets[row] for row in shown_nets)
        ],
        "more_nets": more_nets,
        "wires": wire_rows(harness, [wires[row] for row in shown_wires], axis, verdict.findings),
        "more_wires": more_wires,
        "axis_from": ohms(axis[0]),
        "axis_to": ohms(axis[1]),
    }


def _bad_and_some_good(good: Sequence[bool], what: str) -> tuple[list[int], str]:
    """Which of the rows, bad ones first, are shown; and what is left out, in words."""
    bad, fine = [i for i, g in enumerate(good) if not g], [i for i, g in enumerate(good) if g]
    kept = fine if len(fine) <= MOST_GOOD_ROWS else fine[:SOME_GOOD_ROWS]
    told = []
    if len(bad) > MOST_BAD_ROWS:
        told.append(f"And {counted(len(bad) - MOST_BAD_ROWS, what)} more that are not, in verdict.json.")
    if len(kept) < len(fine):
        told.append(f"And {counted(len(fine) - len(kept), what)}, all as they should be.")
    return [*bad[:MOST_BAD_ROWS], *kept], " ".join(told)


def _share_of_limit(row: WireRow) -> float:
    return row.ohms / row.limit_ohms if row.ohms and row.limit_ohms else 0.0


def with_palette(css: str) -> str:
    """The style sheet with the palette of light and dark before it."""
    light, dark = palette(LIGHT), palette(DARK)
    return (
        f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
        f"{paint_rules()}\n{css}"
    )


def page_hash(text: str) -> str:
    """The source expression by which a content security policy allows exactly this text."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
