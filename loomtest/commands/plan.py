"""`loomtest plan`: which few pairs to measure, in which order, and what that proves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.text import counted, wrapped
from loomtest.commands.terminal.verbs import HARNESS_HELP, JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from loomtest.bench.plan.markers import MarkedCost
    from loomtest.bench.plan.plan import LevelCost, Plan
    from loomtest.evidence.page.sheet import Block
    from loomtest.harness.model import Harness
    from loomtest.words.lines import Line

MOST_STEPS = 400  # printed; a bench sheet and --json hold them all

Level = Literal["full", "neighbours", "bonded", "none"]


@app.command(
    epilog="Example: loomtest plan wires.csv\nExample: loomtest plan tractor --isolation bonded --sheet bench"
)
def plan(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    isolation: Annotated[
        Level | None,
        typer.Option(
            help="Which pairs of circuits to check for shorts (default: what harness.toml asks for)."
        ),
    ] = None,
    joints: Annotated[
        bool, typer.Option("--joints", help="Add the readings that tell each wire's own resistance.")
    ] = False,
    scanner: Annotated[
        bool, typer.Option("--scanner", help="The parallel tests of a scanner that drives many pins at once.")
    ] = False,
    clips: Annotated[
        int | None, typer.Option(help="How many clips you can tie together, for bonded.", min=2)
    ] = None,
    after: Annotated[
        str, typer.Option(help="A run whose faults you fixed: only what that touched or had hidden.")
    ] = "",
    markers: Annotated[
        Path | None, typer.Option(help="With marker clips: the kit as measured (marker,ohms).")
    ] = None,
    every_clip: Annotated[
        bool, typer.Option("--every-clip", help="With markers: touch every marked point itself too.")
    ] = False,
    sheet: Annotated[
        Path | None, typer.Option(help="Write a bench sheet (HTML for print, CSV to fill in) to this folder.")
    ] = None,
    semicolons: Annotated[
        bool,
        typer.Option("--semicolons", help="With --sheet: your spreadsheet writes one and a half as 1,5."),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Say which few readings prove the loom, in an order with little walking.

    Continuity needs one reading less than a circuit has points, and one more for each loop. Isolation: full
    reads every pair of circuits, neighbours only those that lie near each other, bonded each circuit
    against all those before it, clipped together, none no pair.

    The JSON object, "schema": "loomtest-plan/1": steps (step, what, from, to, expected_ohms or expected,
    bonded, proves), totals, bounds (the fewest readings that can do), and levels (isolation, touches, clips,
    minutes, comb, pairs, of): what each level costs; with_markers (isolation, clips, touches, placings,
    minutes, assumed): what marker clips cost, with the largest kit where none is given.
    """
    from loomtest.bench.plan.markers import marked_cost
    from loomtest.bench.plan.pace import own_seconds
    from loomtest.bench.plan.plan import level_costs
    from loomtest.bench.plan.plan import plan as plan_of
    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.harness.load import load_harness

    with Progress(f"reading {harness}", quiet) as progress:
        loaded = load_harness(harness)
        progress.say("planning")
        touch_s = own_seconds(loaded)
        made = None if scanner else plan_of(loaded, isolation, joints, clips=clips, touch_s=touch_s)
        costs = () if scanner or after else level_costs(loaded, joints, clips, touch_s)
        beside = marked_cost(loaded, made.isolation) if made is not None and costs else None
        if made is not None and after:
            from loomtest.bench.plan.mending import plan_after

            progress.say(f"reading {after}")
            made = plan_after(loaded, made if isolation else None, after, joints)
    if markers is not None:
        _show_marked(loaded, markers, isolation, every_clip, as_json, costs)
        return
    if made is None:
        from loomtest.bench.plan.isolation import scanner_json

        tests = scanner_json(loaded)
        if as_json:
            show_json(tests)
        else:
            show(scanner_lines(tests))
        return
    written = []
    if sheet is not None:
        from loomtest.evidence.page.sheet import write_sheet

        written = write_sheet(loaded, made, sheet, ";" if semicolons else ",")
    if as_json:
        show_json({**made.to_json(), **_levels(costs, beside)})
        return
    show(plan_lines(loaded, made, costs, beside))
    for path in written:
        typer.echo(f"written: {path}")


def _show_marked(
    harness: Harness,
    kit: Path,
    isolation: Level | None,
    every_clip: bool,
    as_json: bool,
    costs: Sequence[LevelCost],
) -> None:
    """The plan with marker clips, beside what the levels cost without."""
    from loomtest.bench.plan.kit import usable
    from loomtest.bench.plan.markers import marked_cost, plan_marked
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.readings.generic import generic_handheld
    from loomtest.readings.kitfile import read_kit
    from loomtest.words.marked_plan import marked_plan_lines, proofs

    read = read_kit(kit)
    held = usable(read, generic_handheld(), harness)
    made = plan_marked(harness, read.clips, isolation, every_clip, held)
    beside = marked_cost(harness, made.isolation, read.clips) if costs else None
    if not as_json:
        rows = _level_lines(costs, beside, made.isolation)
        show(marked_plan_lines(made, made.placings, made.steps, rows))
        return
    out = made.to_json()
    for row, proves in zip(out["steps"], proofs(made.steps), strict=True):
        row["proves"] = proves
    show_json({**out, **_levels(costs, beside)})


def _levels(costs: Sequence[LevelCost], beside: MarkedCost | None) -> dict[str, Any]:
    """What each level costs, and marker clips, for the JSON object."""
    out: dict[str, Any] = {"levels": [cost.to_json() for cost in costs]}
    if beside is not None:
        out["with_markers"] = beside.to_json()
    return out


def _level_lines(costs: Sequence[LevelCost], beside: MarkedCost | None, chosen: str) -> list[Line]:
    """The same for a terminal."""
    from loomtest.words.levels import level_rows, marked_row
    from loomtest.words.lines import Line

    if not costs:
        return []
    rows = [*level_rows(costs, chosen), *([] if beside is None else [marked_row(beside)])]
    return [Line(""), *(Line(text, "plain" if n else "soft") for n, text in enumerate(rows))]


def plan_lines(
    harness: Harness, made: Plan, costs: Sequence[LevelCost] = (), beside: MarkedCost | None = None
) -> Iterator[Line]:
    """The plan for an 80-column terminal: what each level costs, then steps under the clip's point."""
    from loomtest.evidence.page.sheet import blocks_of
    from loomtest.words.lines import Line
    from loomtest.words.place import PLACE_CAUTIONS
    from loomtest.words.plan import walk_text

    totals = made.totals
    told = [
        counted(totals["continuity"], "reading joined", "readings joined"),
        counted(totals["loops"], "for a loop", "for loops") if totals["loops"] else "",
        counted(totals["joints"], "for joints", "for joints") if totals["joints"] else "",
        counted(totals["parts"], "part") if totals["parts"] else "",
        f"{totals['places']} to find the place" if totals.get("places") else "",
        f"{counted(totals['isolation'], 'apart', 'apart')} ({made.isolation})" if totals["isolation"] else "",
        walk_text(totals["walk_m"]) if "walk_m" in totals else "",
    ]
    yield Line(made.harness, "head")
    yield Line(
        f"{counted(len(made.steps), 'reading')}, {duration(totals['minutes'])}: "
        + ", ".join(filter(None, told))
    )
    yield from _level_lines(costs, beside, made.isolation)
    if totals.get("places"):
        yield Line("")
        for caution in PLACE_CAUTIONS:
            yield from (Line(text) for text in wrapped(["!", *caution.split(" ")], 0, 2).split("\n"))
    for block in blocks_of(harness, made.steps[:MOST_STEPS]):
        yield from _block_lines(block)
    if len(made.steps) > MOST_STEPS:
        yield Line("")
        yield Line(
            f"{counted(len(made.steps) - MOST_STEPS, 'further reading')}: --sheet or --json holds them all."
        )
    for title, sentences in (("This shows", made.proves), ("It leaves open", made.unproven)):
        if sentences:
            yield Line("")
            yield Line(title, "head")
            for sentence in sentences:
                yield from (Line(text) for text in wrapped(sentence.split(" "), 2, 4).split("\n"))
    yield Line("")
    for sentence in made.assumptions:
        yield from (Line(text, "soft") for text in wrapped(sentence.split(" ")).split("\n"))


def scanner_lines(tests: dict[str, Any]) -> Iterator[Line]:
    """The scanner's tests, each with the points driven and the points read."""
    from loomtest.words.lines import Line

    yield Line(tests["harness"], "head")
    totals = tests["totals"]
    yield Line(f"{totals['continuity'] + totals['isolation']} tests, each of many pins at once")
    for number, test in enumerate(tests["tests"], 1):
        yield Line("")
        yield Line(f"{number}. {'joined' if test['what'] == 'continuity' else 'apart'}", "head")
        for side in ("drive", "sense"):
            yield from (Line(text) for text in wrapped([f"{side}:", *test[side]], 2, 4).split("\n"))
    yield Line("")
    for sentence in tests["proves"]:
        yield from (Line(text) for text in wrapped(sentence.split(" "), 2, 4).split("\n"))


def duration(minutes: int) -> str:
    """`about 40 minutes`, `about 6 hours`."""
    if minutes < 120:
        return f"about {counted(max(1, minutes), 'minute')}"
    return f"about {counted(round(minutes / 60), 'hour')}"


def _block_lines(block: Block) -> Iterator[Line]:
    from loomtest.words.lines import Line

    yield Line("")
    place = f", {block.place}" if block.place else ""
    yield Line(f"{block.title}: clip on {block.clip}{place}", "head")
    if block.also:
        yield from (Line(text) for text in wrapped(["comb also on", *block.also], 2, 4).split("\n"))
    for row in block.rows:
        shows = row.shows + ("; then hang it on" if row.hang == (row.probe,) else "")
        yield Line(f"{row.step:>5}  {row.probe:<10} {row.expected:<16} {shows}".rstrip())
        if row.hang and row.hang != (row.probe,):
            told = wrapped(["then hang on the comb:", *row.hang], 18, 20)
            yield from (Line(text) for text in told.split("\n"))
