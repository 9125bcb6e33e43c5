"""`loomtest log`: records a run, by hand, off a meter, or off a pin-scanner; resumes one that stopped."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, INSTRUMENT_HELP

if TYPE_CHECKING:
    from loomtest.commands.log.request import LogRequest

Level = Literal["full", "neighbours", "bonded", "none"]


@app.command(
    epilog="Example: loomtest log my_loom --out before --stage before\n"
    "Example: loomtest log my_loom --out after --meter /dev/ttyUSB0 --instrument meter.toml --stage after"
)
def log(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    out: Annotated[
        Path, typer.Option(help="The run folder; a run that stopped goes on.", show_default=False)
    ],
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="Type what the meter shows (this is the default).")
    ] = False,
    meter: Annotated[
        str,
        typer.Option(
            help="Port of a meter on a serial cable, such as /dev/ttyUSB0 or COM3; rehearse:FOLDER to try it."
        ),
    ] = "",
    scanner: Annotated[
        str, typer.Option(help="Port of a pin-scanner; rehearse:FOLDER to try it without one.")
    ] = "",
    instrument: Annotated[str, typer.Option(help=INSTRUMENT_HELP)] = "",
    stage: Annotated[str, typer.Option(help="A name for the stage of the work: before, after.")] = "",
    operator: Annotated[str, typer.Option(help="Who measures.")] = "",
    temperature: Annotated[
        float | None, typer.Option(help="Temperature of the wires while you measure, in °C.")
    ] = None,
    isolation: Annotated[
        Level | None,
        typer.Option(
            help="Which pairs of circuits to check for shorts (default: what harness.toml asks for)."
        ),
    ] = None,
    joints: Annotated[
        bool, typer.Option("--joints", help="Add the readings that tell each wire's own resistance.")
    ] = False,
    open_after: Annotated[
        float | None,
        typer.Option(help="Record over-range without a key press after this many seconds.", min=2.5),
    ] = None,
    scans: Annotated[int, typer.Option(help="With --scanner: how many scans to average.", min=1)] = 1,
    parallel: Annotated[
        bool,
        typer.Option(
            "--parallel", help="With --scanner: only right and wrong, in a few tests; no resistances."
        ),
    ] = False,
    flex: Annotated[
        float,
        typer.Option(
            help="With --scanner: then watch for this many seconds while you flex the loom.", min=0.0
        ),
    ] = 0.0,
    touch: Annotated[
        int | None,
        typer.Option(
            help="With --scanner: fill the socket table by touching each point with a probe on this pin.",
            min=1,
        ),
    ] = None,
    after: Annotated[
        str, typer.Option(help="An earlier run whose faults you fixed: ask only for what that touched.")
    ] = "",
    correct: Annotated[
        bool, typer.Option("--correct", help="List the run's readings, to correct one or take it back.")
    ] = False,
    job: Annotated[str, typer.Option(help="The number of the job in your job book.")] = "",
    unit: Annotated[str, typer.Option(help="The serial number of this loom, boat or machine.")] = "",
    customer: Annotated[str, typer.Option(help="The customer's name.")] = "",
    markers: Annotated[
        Path | None, typer.Option(help="With marker clips: the kit as measured (marker,ohms).")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell, no progress messages.")] = False,
) -> None:
    """Record readings into a run folder; each is on disk before the next is asked for.

    On a terminal it asks for one pair after another ("Red lead: X1 cavity 3. Black lead: X4 cavity 1."). Once
    something is wrong, it asks for the pair that tells most. The same command goes on with a run that
    stopped. A wrong reading can be taken back; it stays in the record.

    From a script, it reads lines (POINT POINT VALUE [note]) and answers each. A voltage drop is a value with
    its current (36 mV 1.5 A, fed end first); a capacitance has its unit (120 pF), and + ties points to the
    second one (X1:2+X1:3).

    Once a short or a break stands and the meter can do it, it goes on with the readings that find the place.

    With --markers it says where each clip goes, then which point to touch, by its cavity alone. In lines,
    next is answered with the next clips or the next touch, and a touch is POINT COMMON VALUE.

    Battery disconnected, control units unplugged, never on restraint-system circuits.
    """
    from loomtest.commands.log.request import LogRequest
    from loomtest.readings.model import Job
    from loomtest.readings.values import believable_temperature

    chosen = [name for name, on in (("--by-hand", by_hand), ("--meter", meter), ("--scanner", scanner)) if on]
    if len(chosen) > 1:
        raise typer.BadParameter(f"found {' and '.join(chosen)}; expected one of them")
    if temperature is not None and not believable_temperature(temperature):
        raise typer.BadParameter(
            f"found {temperature:g}; expected degrees Celsius, such as 21.5", param_hint="--temperature"
        )
    request = LogRequest(
        out, stage, operator, instrument, temperature, isolation, joints, open_after, quiet, after=after,
        job=Job(job, unit, customer), markers=markers,
    )  # fmt: skip
    if markers and (scanner or after or meter.startswith("rehearse:")):
        raise typer.BadParameter("found --markers with no meter of yours; expected a meter, or by hand")
    if correct:
        from loomtest.commands.log.correct import correct_run
        from loomtest.harness.load import load_harness

        correct_run(load_harness(harness), request)
    elif scanner:
        from loomtest.bench.connect import is_rehearsal
        from loomtest.commands.log.scanner import Wishes, log_scanner

        about = (stage, operator, temperature)
        wishes = Wishes(*about, scans, parallel, flex, touch, quiet, is_rehearsal(scanner), request.job)
        log_scanner(harness, out, scanner, wishes)
    else:
        _record(harness, meter, request)


def _record(harness: str, meter: str, request: LogRequest) -> None:
    from loomtest.harness.load import load_harness

    loaded = load_harness(harness)
    if request.after:
        from loomtest.bench.plan.mending import mending
        from loomtest.bench.plan.plan import plan

        made = plan(loaded, request.isolation, request.joints) if request.isolation else None
        request = replace(request, mending=mending(loaded, request.after, request.joints, made))
    if meter:
        from loomtest.bench.connect import is_rehearsal
        from loomtest.commands.log.guided import log_meter

        log_meter(loaded, meter, replace(request, rehearsal=is_rehearsal(meter)))
    else:
        from loomtest.commands.log.by_hand import log_by_hand

        log_by_hand(loaded, request)
