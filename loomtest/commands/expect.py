"""`loomtest expect`: what healthy copper and joints are, from sound units."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.verbs import HARNESS_HELP, JSON_HELP, QUIET_HELP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loomtest.diagnosis.units.sound import SoundUnits, UnitRun


@app.command(
    epilog="Example: loomtest expect tractor --from runs/001 runs/002 runs/003 runs/004 runs/005\n"
    "Example: loomtest expect tractor --from runs/* --write"
)
def expect(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    first: Annotated[
        list[str], typer.Option("--from", help="A run folder of a sound unit; further ones may follow it.")
    ],
    runs: Annotated[list[str] | None, typer.Argument(help="Further run folders, one a unit.")] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the keys that are told into harness.toml.")
    ] = False,
    rehearsal: Annotated[
        bool, typer.Option("--rehearsal", help="Take runs of a simulated meter too.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help=QUIET_HELP)] = False,
) -> None:
    """Propose what healthy copper and joints are, from five or more sound units of this loom.

    A run that has a fault, whose joints are not proven, or that was recorded against another wire list is
    left out, and that is said. The proposal is shown beside what stands in harness.toml; only --write changes
    the file, and everything else in it stays. A key that the units do not tell well enough keeps its value.

    The JSON object, "schema": "loomtest-expect/1": harness; units (unit, run, started, meter); keys (key,
    now, value, interval, told); left_out (run, why); earlier, nameless and open_else (runs); change (lines
    of a difference); written (the file, or null).
    """
    from datetime import UTC, datetime
    from pathlib import Path

    from loomtest.commands.terminal.progress import Progress
    from loomtest.commands.terminal.screen import show, show_json
    from loomtest.diagnosis.units.proposal import proposed_from
    from loomtest.diagnosis.units.sound import sound_units
    from loomtest.diagnosis.units.taken import taken_of, wires_used
    from loomtest.errors import InputError, Problem
    from loomtest.harness.load import load_harness
    from loomtest.harness.writeexpect import settings_file, settings_read, with_expect, write_settings
    from loomtest.words import expect as said
    from loomtest.words.verdict import judge

    with Progress(f"reading {harness}", quiet) as progress:
        loom = load_harness(harness)
        used = wires_used(loom)
        if not used.any():
            found = "no wire with size and length"
            raise InputError([Problem(harness, None, "size, length", found, "a wire list that says them")])
        read = [_run(path, loom, progress) for path in dict.fromkeys((*first, *(runs or ())))]
        progress.say("judging")
        sound = sound_units(loom, read, judge, rehearsal)
        if problems := said.too_few(sound):
            raise InputError(problems)
        taken = [taken_of(loom, run.readings, used) for run in sound.runs]
        if not any(len(one.ohm) for one in taken):
            found = "no reading of a wire whose size and length are known"
            raise InputError([Problem("--from", None, "", found, "runs with readings in ohms")])
        progress.say("estimating")
        keys = proposed_from(taken, loom.expect)
    told = {key.key: float(said.figure(key.key, key.value)) for key in keys if key.told}
    file, before, after = None, "", ""
    if write or Path(harness).is_dir() or harness.endswith(".toml"):
        file = settings_file(Path(harness))
        before = after = settings_read(file)
        if told:
            day = datetime.now(UTC).date().isoformat()
            after = with_expect(before, told, [run.unit or run.source for run in sound.runs], day)
    if write and file is not None and after != before:
        write_settings(file, after)
    change = _change(before, after)
    written = file.as_posix() if write and file is not None and change else None
    if as_json:
        show_json(_object(loom.name, sound, keys, change, written))
        return
    lines = said.expect_lines(loom.name, sound, keys)
    show([*lines, *said.change_lines(change, file.as_posix() if file else "", write)])


def _run(path: str, loom: Any, progress: Any) -> "UnitRun":
    from pathlib import Path

    from loomtest.diagnosis.units.sound import UnitRun
    from loomtest.harness.load import load_harness
    from loomtest.readings.load import load_readings
    from loomtest.readings.runfile import HARNESS_FOLDER, open_run

    progress.say(f"reading {path}")
    open_run(Path(path))  # a bare file says neither unit nor leads: refused with what was expected
    copy = Path(path) / HARNESS_FOLDER
    return UnitRun(path, load_harness(copy) if copy.is_dir() else loom, load_readings(path, loom))


def _change(before: str, after: str) -> list[str]:
    """Lines that go (`- `) and come (`+ `), with the heading they stand under."""
    from difflib import unified_diff

    lines = list(unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=1))[2:]
    return [f"{line[:1]} {line[1:]}" for line in lines if not line.startswith("@@")]


def _object(
    name: str, sound: "SoundUnits", keys: "Sequence[Any]", change: "Sequence[str]", written: str | None
) -> dict[str, Any]:
    from loomtest.diagnosis.verdict import plain_number

    return {
        "schema": "loomtest-expect/1",
        "harness": name,
        "units": [
            {"unit": run.unit, "run": run.source, "started": run.started, "meter": run.meter}
            for run in sound.runs
        ],
        "keys": [
            {
                "key": key.key,
                "now": key.now,
                "value": plain_number(key.value),
                "interval": [plain_number(end) for end in key.between],
                "told": key.told,
            }
            for key in keys
        ],
        "left_out": [{"run": one.source, "why": one.why} for one in sound.refused],
        "earlier": list(sound.earlier),
        "nameless": list(sound.nameless),
        "open_else": list(sound.open_else),
        "change": list(change),
        "written": written,
    }
