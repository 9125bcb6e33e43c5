"""`loomtest markers`: the kit of marker clips: what to buy, and whether a measured one will do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, INSTRUMENT_HELP, JSON_HELP


@app.command(
    epilog="Example: loomtest markers\nExample: loomtest markers tractor --instrument handheld-4half\n"
    "Example: loomtest markers --kit kit.csv"
)
def markers(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP + " It says how many clips are wanted.")] = "",
    clips: Annotated[
        int | None,
        typer.Option(help="How many clips, 2 to 24 (default: as many as the loom needs).", min=2, max=24),
    ] = None,
    kit: Annotated[
        Path | None, typer.Option(help="A measured kit (marker,ohms): what it tells, what to change.")
    ] = None,
    instrument: Annotated[str, typer.Option(help=INSTRUMENT_HELP)] = "",
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Say which resistors make a kit of marker clips for your meter, and why.

    A marker clip is a resistor on a lead; the other ends of all leads are joined, and the meter's black lead
    stays there. One clip on one point of each circuit, and one touch at every other end shows that the wire
    is whole, that it is the right one, and that it touches no other. Measure the clips with the meter that
    you will use, on the range that is named, and write them into a file (marker,ohms).

    The JSON object, "schema": "loomtest-markers/1": series, ohms, range_ohms and margins of each kit; with a
    measured kit what is too near what, and what to exchange.
    """
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.diagnosis.markers.kit import MOST_CLIPS
    from loomtest.readings.generic import generic_handheld
    from loomtest.readings.instrument import load_instrument

    meter = load_instrument(instrument) if instrument else generic_handheld()
    if kit is not None:
        from loomtest.bench.plan.kit import checked
        from loomtest.readings.kitfile import read_kit
        from loomtest.words.kit import measured_lines

        read = read_kit(kit)
        held, near = checked(read, meter)
        if as_json:
            show_json(_measured_json(read, held, near))
        else:
            show(measured_lines(read, held, near))
        return
    circuits = _circuits(harness) if harness else None
    most = min(max(circuits, 2), MOST_CLIPS) if circuits is not None else None
    wanted = [clips] if clips else [most] if most is not None else [12, MOST_CLIPS]
    chosen = [_chosen(meter, count) for count in wanted]
    if as_json:
        show_json(
            {"schema": "loomtest-markers/1", "circuits": circuits, "kits": [_json(one) for one in chosen]}
        )
        return
    from loomtest.words.kit import kit_lines
    from loomtest.words.lines import Line

    for number, one in enumerate(chosen):
        show([*([Line("")] if number else []), *kit_lines(one, circuits)])


def _circuits(harness: str) -> int:
    """How many circuits want a clip: those with two points or more that a probe reaches."""
    from loomtest.bench.plan.markers import plan_marked
    from loomtest.harness.load import load_harness
    from loomtest.readings.marked import Clip

    loaded = load_harness(harness)
    clips = [Clip(marker=f"M{n}", ohms=1e4) for n in range(1, len(loaded.nets) + 2)]
    return len(plan_marked(loaded, clips).placings)


def _chosen(meter: Any, count: int) -> Any:
    from loomtest.diagnosis.markers.kit import choose_kit
    from loomtest.errors import InputError, Problem

    choice = choose_kit(meter, count)
    if choice is None:
        found = "no range that shows a leak of 1 MΩ and a joint of 100 Ω beside one value"
        expected = "a meter with a range of some 20 kΩ in steps of 10 Ω or less"
        raise InputError([Problem(meter.source or meter.name, None, "range", found, expected)])
    return choice


def _json(choice: Any) -> dict[str, Any]:
    from loomtest.diagnosis.verdict import plain_json

    return {
        "series": choice.series,
        "ohms": list(choice.ohms),
        "range_ohms": choice.range.up_to_ohms,
        "margins": plain_json(choice.margins),
    }


def _measured_json(kit: Any, held: Any, near: Any) -> dict[str, Any]:
    from loomtest.diagnosis.verdict import plain_number

    names = [clip.marker for clip in kit.clips]
    return {
        "schema": "loomtest-markers/1",
        "range_ohms": held.up_to_ohms,
        "too_near": [
            {
                "one": [names[index] for index in one.one],
                "other": names[one.other],
                "share": plain_number(one.share),
                "wanted": plain_number(one.wanted),
                "exchange": names[one.exchange],
            }
            for one in near
        ],
    }
