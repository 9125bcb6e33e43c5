"""`loomtest markers`: the kit of marker clips: what to buy, and whether a measured one will do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, INSTRUMENT_HELP, JSON_HELP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loomtest.harness.model import Harness
    from loomtest.readings.model import Instrument
    from loomtest.words.kit import PlugCavity

KIT_FILE = "kit.csv"


@app.command(
    epilog="Example: loomtest markers\nExample: loomtest markers tractor --instrument handheld-4half\n"
    "Example: loomtest markers --kit kit.csv\nExample: loomtest markers tractor --plug X3 --picture plug.png"
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
    plug: Annotated[
        str,
        typer.Option(
            help="A connector: the marker plug to build for it; remembered in the kit (kit.csv of the loom)."
        ),
    ] = "",
    picture: Annotated[
        Path | None, typer.Option(help="With --plug: draw it into this file (.svg or .png).")
    ] = None,
    instrument: Annotated[str, typer.Option(help=INSTRUMENT_HELP)] = "",
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Say which resistors make a kit of marker clips for your meter, and why.

    A marker clip is a resistor on a lead; the other ends of all leads are joined, and the meter's black lead
    stays there. One clip on one point of each circuit, and one touch at every other end shows that the wire
    is whole, that it is the right one, and that it touches no other. Measure the clips with the meter that
    you will use, on the range that is named, and write them into a file (marker,ohms).

    A marker plug is the connector that mates with one of the loom's, with markers in its cavities for good:
    --plug says which goes where, with a picture, and adds them to the kit. The sitting then asks for
    the plug instead of clip by clip.

    The JSON object, "schema": "loomtest-markers/1": series, ohms, range_ohms and margins of each kit; with a
    measured kit what is too near what, and what to exchange; with --plug the markers of the plug.
    """
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.diagnosis.markers.kit import MOST_CLIPS
    from loomtest.readings.generic import generic_handheld
    from loomtest.readings.instrument import load_instrument

    meter = load_instrument(instrument) if instrument else generic_handheld()
    if picture is not None and (not plug or picture.suffix.casefold() not in (".svg", ".png")):
        raise typer.BadParameter(
            f"found {picture}; expected a file that ends in .svg or .png, with --plug", param_hint="--picture"
        )
    if plug:
        _plug(harness, plug, kit, meter, picture, as_json)
        return
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


def _plug(
    harness: str, connector: str, kit: Path | None, meter: Instrument, picture: Path | None, as_json: bool
) -> None:
    """The plug for one connector: told, drawn, and new ones added to the kit file."""
    from loomtest.bench.plan.plug import marker_plug, remember
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.harness.load import load_harness
    from loomtest.words.kit import plug_cavities, plug_lines

    if not harness:
        raise typer.BadParameter(
            "found no harness; expected the loom that the plug is for", param_hint="--plug"
        )
    loaded = load_harness(harness)
    home = Path(harness) if Path(harness).is_dir() else Path(harness).parent
    file = kit if kit is not None else home / KIT_FILE
    made = marker_plug(loaded, connector, file, meter)
    if made.new:
        remember(made, file)
    if picture is not None:
        _draw(loaded, connector, plug_cavities(made, loaded), picture)
    if as_json:
        rows = [
            {"marker": c.marker, "point": c.built_in, "ohms": c.ohms, "measured": c.marker in made.measured}
            for c in made.clips
        ]
        show_json(
            {
                "schema": "loomtest-markers/1",
                "plug": connector,
                "markers": rows,
                "left_out": list(made.left_out),
                "kit": str(file),
            }
        )
        return
    show(plug_lines(made, loaded, str(file)))


def _draw(harness: Harness, connector: str, rows: Sequence[PlugCavity], picture: Path) -> None:
    from loomtest.errors import InputError, Problem
    from loomtest.evidence.pictures.drawing import to_svg
    from loomtest.evidence.pictures.plug import plug_drawing
    from loomtest.evidence.pictures.png import save_png

    drawing = plug_drawing(harness, connector, rows)
    try:
        if picture.suffix.casefold() == ".png":
            save_png(drawing, picture)
        else:
            picture.write_text(to_svg(drawing, alone=True, ident="plug"), "utf-8", newline="\n")
    except OSError as error:
        found = error.strerror or str(error)
        raise InputError([Problem(str(picture), None, "", found, "a place that can be written to")]) from None


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
