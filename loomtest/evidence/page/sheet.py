"""The bench sheet: a plan on paper with boxes to write in, and as a CSV that becomes the readings file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loomtest.bench.plan.plan import Plan, Step
from loomtest.errors import InputError, Problem
from loomtest.harness.copper import part_ohms
from loomtest.harness.model import Harness, Wire, connector_of
from loomtest.harness.outward import sheet_cell
from loomtest.words.cautions import CAUTIONS
from loomtest.words.numbers import ohms
from loomtest.words.place import PLACE_BLOCK, PLACE_CAUTIONS, fed_at
from loomtest.words.sitting import red_lead_on

MOST_ON_PAPER = 5000
UNITS = {"diode": "V", "voltage_drop": "mV, A", "capacitance": "pF"}
COLUMNS = ("step", "from", "to", "value", "quantity", "bonded", "expected", "proves")
_UNSEEN = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@dataclass
class SheetRow:
    """A line of the sheet: one reading. `place` is filled where the probe comes to another connector; `hang`
    are the points to hang on the comb after it."""

    step: int
    probe: str
    place: str
    shows: str
    expected: str
    unit: str
    hang: tuple[str, ...] = ()


@dataclass
class Block:
    """The lines read without moving the clip; `also` are further teeth of the comb at the start."""

    title: str
    place: str
    clip: str
    also: tuple[str, ...]
    rows: list[SheetRow] = field(default_factory=list)


def write_sheet(harness: Harness, plan: Plan, folder: Path, separator: str = ",") -> list[Path]:
    """Write bench_sheet.html and bench_sheet.csv into `folder`; their paths.

    `separator`: of the CSV's cells; a spreadsheet that writes decimal commas wants a semicolon.

    A bench_sheet.csv that is there and is not this blank sheet may hold readings: InputError, and nothing
    is written. Raises InputError too where `folder` cannot be a folder.
    """
    page, table = folder / "bench_sheet.html", folder / "bench_sheet.csv"
    text = sheet_csv(harness, plan, separator)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if table.exists() and table.read_bytes() != text.encode():
            found = "a file that is there already and may hold readings"
            raise InputError([Problem(str(table), None, "", found, "another folder for the new sheet")])
        table.write_bytes(text.encode())
        page.write_text(sheet_html(harness, plan), encoding="utf-8", newline="\n")
    except OSError as error:
        found = (error.strerror or str(error)).lower()
        raise InputError(
            [Problem(str(folder), None, "", found, "a folder to write the sheet into")]
        ) from error
    return [page, table]


def sheet_csv(harness: Harness, plan: Plan, separator: str = ",") -> str:
    """The plan as a readings file whose `value` column is still empty."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    wires = {wire.name: wire for wire in harness.wires}
    for step in plan.steps:
        quantity = "" if step.quantity == "resistance" else step.quantity
        proves = _shows(wires, step) if step.quantity == "diode" else step.proves
        bonded = " ".join(step.bonded)
        expected = expected_text(harness, wires, step)
        start, end, tied, shown, proves = map(sheet_cell, (step.start, step.end, bonded, expected, proves))
        writer.writerow([step.step, start, end, "", quantity, tied, shown, proves])
    return out.getvalue()


def expected_text(harness: Harness, wires: Mapping[str, Wire], step: Step) -> str:
    """What the meter should show at a step: `26 mΩ`, `over-range`, `2.5 Ω to 4.5 Ω`; `wires` by name."""
    if step.what == "isolation":
        return "over-range" if step.expected_ohms is not None else "what the parts between the two give"
    if step.quantity == "diode":
        return "a diode's forward volts"
    if step.what == "place":
        return "any value"
    if step.what == "part":
        if len(step.wires) > 1:
            return "not known" if step.expected_ohms is None else f"about {ohms(step.expected_ohms)}"
        low, high = part_ohms(wires[step.wires[0]])
        return f"{ohms(low)} to {ohms(high)}"
    if step.expected_ohms is None:
        return f"below {ohms(harness.limits.continuity_ohms)}"
    return ohms(step.expected_ohms)


def sheet_html(harness: Harness, plan: Plan) -> str:
    """The sheet as one page for A4 or Letter: everything inline, no script, no network."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined
    )
    steps = plan.steps[:MOST_ON_PAPER]
    text = environment.get_template("sheet.html").render(
        harness=harness.name,
        plan=plan,
        count=len(plan.steps),
        blocks=blocks_of(harness, steps),
        left_out=len(plan.steps) - len(steps),
        combed=any(step.bonded for step in steps),
        cautions=(*CAUTIONS[:4], *(PLACE_CAUTIONS if plan.totals.get("places") else ())),
    )
    # Names may hold what commands a terminal or turns a line round: it is written out, as elsewhere.
    return _UNSEEN.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def blocks_of(harness: Harness, steps: Sequence[Step]) -> list[Block]:
    """The steps as blocks of one clip position each; a comb grows within its block."""
    wires = {wire.name: wire for wire in harness.wires}
    blocks: list[Block] = []
    last: Step | None = None
    station = ""
    for step in steps:
        same_comb = last is not None and step.what == last.what == "isolation" and step.clip == last.clip
        fresh_teeth = step.bonded[len(last.bonded) :] if last is not None and same_comb else step.bonded
        if last is None or last.clip != step.clip or last.what != step.what:
            place = harness.places.get(_station(step.clip), "")
            blocks.append(Block(_title(step), place, step.clip, fresh_teeth))
        elif fresh_teeth:
            blocks[-1].rows[-1].hang = fresh_teeth
        here = _station(step.probe)
        place = harness.places.get(here, "") if here != station else ""
        unit = UNITS.get(step.quantity, "Ω")
        shows = _shows(wires, step)
        blocks[-1].rows.append(
            SheetRow(step.step, step.probe, place, shows, expected_text(harness, wires, step), unit)
        )
        last, station = step, here
    return blocks


def _title(step: Step) -> str:
    if step.what == "isolation":
        return "Apart"
    if step.what == "place":
        return PLACE_BLOCK
    return {"part": "Part plugged in", "joints": "Joints", "loops": "Joined"}.get(step.what, "Joined")


def _shows(wires: Mapping[str, Wire], step: Step) -> str:
    """The wires with colour and circuit where the step shows some, else what it proves."""
    if step.quantity == "diode":
        return f"{step.proves} · {red_lead_on(step.start)}"
    if step.feed:
        return fed_at(step.feed)
    if not step.wires or step.what not in ("continuity", "loops"):
        return step.proves
    rows = [wires[name] for name in step.wires]
    told = ", ".join(" ".join(filter(None, (row.name, row.colour))) for row in rows)
    circuit = next((row.circuit for row in rows if row.circuit), "")
    return (
        told
        + (f" · {circuit}" if circuit else "")
        + (" · by the value" if "by the value" in step.proves else "")
    )


def _station(point: str) -> str:
    return connector_of(point) or point
