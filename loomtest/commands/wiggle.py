"""`loomtest wiggle`: intermittents while the loom is flexed, live off a meter or from a kept stream."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import INSTRUMENT_HELP, JSON_HELP

if TYPE_CHECKING:
    from loomtest.bench.meter.port import MeterLink
    from loomtest.bench.meter.stream import StreamFile
    from loomtest.diagnosis.flexing import Flexing, FlexRule

STREAM_FILE = "wiggle.csv"


CLIPS_ON_WITHIN_S = 300.0  # somebody who stands before the screen is waited for so long


@app.command(
    epilog="Example: loomtest wiggle --meter /dev/ttyUSB0 --from X1:3 --to X4:1 --out flexed\n"
    "Example: loomtest wiggle flexed"
)
def wiggle(
    run: Annotated[
        Path | None, typer.Argument(help="A kept stream: its folder, or a file of time and value.")
    ] = None,
    meter: Annotated[
        str,
        typer.Option(help="Port of the meter, such as /dev/ttyUSB0 or COM3; rehearse:FOLDER to try it."),
    ] = "",
    start: Annotated[str, typer.Option("--from", help="The point that the red lead is clipped to.")] = "",
    end: Annotated[str, typer.Option("--to", help="The point that the black lead is clipped to.")] = "",
    out: Annotated[
        Path | None, typer.Option(help="Folder for stream and picture; wiggle-FROM-TO if not given.")
    ] = None,
    seconds: Annotated[
        float, typer.Option(help="How long to flex, counted from when the clips have settled.", min=1.0)
    ] = 300.0,
    instrument: Annotated[str, typer.Option(help=INSTRUMENT_HELP)] = "",
    samples: Annotated[
        int,
        typer.Option(help="How many values in a row make an event; 0 means as many as fit in 0.05 s.", min=0),
    ] = 0,
    least: Annotated[
        float, typer.Option(help="With nothing seen, less time than this is no answer.", min=1.0)
    ] = 60.0,
    quiet: Annotated[bool, typer.Option("--quiet", help="No live line and no bell.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Watch one pair while the loom is flexed, and say whether its contact is steady.

    Clip both leads on, start, and bend the loom span by span. Battery disconnected, and never on
    restraint-system circuits.

    The JSON object, "schema": "loomtest-flex/1": verdict (no event, intermittent, too short), text, events,
    shifts, observed_s, baseline_ohms, sigma_ohms and more.
    """
    from loomtest.bench.meter.stream import read_stream
    from loomtest.commands.terminal.screen import show_json
    from loomtest.commands.terminal.text import shown
    from loomtest.diagnosis.flexing import FlexRule, analyse

    rule = FlexRule(least_samples=samples, least_s=least)
    if bool(run) == bool(meter):
        raise typer.BadParameter("found both or neither; expected a kept stream, or --meter PORT")
    if run is not None:
        place = run / STREAM_FILE if run.is_dir() else run
        folder, title = out, place.name
    else:
        if not start or not end:
            raise typer.BadParameter("found --meter alone; expected --from POINT and --to POINT with it")
        folder = out or Path(f"wiggle-{start}-{end}".replace(":", "_"))
        place, title = folder / STREAM_FILE, f"{start} to {end}"
        _record(place, meter, instrument, (start, end), seconds, rule, quiet or as_json)
    result = analyse(*read_stream(place), rule)
    pictures = []
    if folder is not None:
        from loomtest.evidence.pictures.strip import write_strip

        pictures = write_strip(folder, *read_stream(place), result, title)
    if as_json:
        from loomtest.words.flexing import flex_json

        show_json(flex_json(result))
    else:
        for line in _lines(result):
            typer.echo(shown(line))
        for path in [*([place] if meter else []), *pictures]:
            typer.echo(f"written: {path}")
    raise typer.Exit({"no event": 0, "intermittent": 1, "too short": 3}[result.verdict])


def _lines(result: Flexing) -> list[str]:
    from loomtest.words.flexing import flex_text
    from loomtest.words.numbers import ohms, seconds

    lines = [flex_text(result)]
    for number, event in enumerate(result.events[:20], 1):
        depth = "opened" if event.depth_ohm == float("inf") else f"{ohms(event.depth_ohm)} off"
        lines.append(f"  {number:>3}  at {event.start_s:7.2f} s for {event.length_s:6.3f} s: {depth}")
    if len(result.events) > 20:
        lines.append(f"  and {len(result.events) - 20} more: --json holds them all")
    for shift in result.shifts:
        lines.append(f"  {shift.kind} of the level by {shift.size_ohm:+.3g} Ω from {shift.start_s:.1f} s")
    if result.samples:
        rate = 1.0 / result.interval_s if result.interval_s else 0.0
        level = f"baseline {ohms(result.baseline_ohm)}, noise {ohms(result.sigma_ohm)}"
        seen = f"anything shorter than {seconds(result.shortest_s)} may go unseen"
        lines.append(f"{level}, {rate:.3g} values a second: {seen}")
    return lines


def _record(
    place: Path,
    address: str,
    instrument: str,
    pair: tuple[str, str],
    seconds: float,
    rule: FlexRule,
    quiet: bool,
) -> None:
    """Keep the stream for so long, or until Ctrl-C, which ends it and leaves what was recorded."""
    from loomtest.bench.connect import connect
    from loomtest.bench.meter.stream import StreamFile
    from loomtest.bench.rehearsal.loom import LoomPort
    from loomtest.readings.instrument import load_instrument

    link, _ = connect(address, load_instrument(instrument) if instrument else None, None)
    try:
        if isinstance(link.port, LoomPort):
            link.port.flex(*pair)
        with StreamFile(place, *pair, time.monotonic()) as stream:
            _listen(link, stream, seconds, rule, quiet)
    finally:
        link.close()


def _listen(link: MeterLink, stream: StreamFile, seconds: float, rule: FlexRule, quiet: bool) -> None:
    """Until the time is over, counted from when the clips are on and the value has settled once."""
    from loomtest.bench.meter.capture import Capture
    from loomtest.bench.meter.protocol import Shown
    from loomtest.commands.terminal.strip import LiveStrip
    from loomtest.readings.values import no_resistance

    strip, clips = LiveStrip(quiet, rule), Capture(None)
    until_s = float("inf")
    gives_up_s = time.monotonic() + (seconds if quiet else max(seconds, CLIPS_ON_WITHIN_S))
    while (now_s := time.monotonic()) < min(until_s, gives_up_s):
        for at_s, event in link.poll(now_s):
            if not isinstance(event, Shown):
                strip.say(event.text)
            elif event.function != "ohm":
                strip.say(f"the meter shows {event.text}: turn it to resistance (Ω)")
            elif why := no_resistance(event.value):
                strip.say(f"not taken: {why}")
            elif until_s < float("inf"):
                stream.add(at_s, event.value)
                strip.add(at_s, event.value)
            elif any(move.what == "taken" for move in clips.feed(at_s, event)):
                until_s = now_s + seconds
                gives_up_s = until_s
        stream.flush_due(now_s)
        strip.draw(now_s, max(0.0, until_s - now_s))
        time.sleep(0.02)
    strip.end()
    if until_s == float("inf"):
        from loomtest.errors import InstrumentError

        raise InstrumentError("no steady value came from the meter: put both clips on, and start again")
