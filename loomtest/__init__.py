"""loomtest: proves a rebuilt vehicle wiring loom right before it goes back in.

    harness = loomtest.load_harness("orchard-tractor/")
    readings = loomtest.load_readings("after/", harness)
    verdict = loomtest.judge(harness, readings)
    print(verdict)

`plan` says which pairs to probe, `compare` what changed between two runs, `load_instrument` describes the
meter, and `frame` turns the rows of an answer into a pandas frame. The types of all answers and the errors
stand here too. Everything is imported when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from loomtest.bench.plan.plan import Plan, Step, plan
    from loomtest.diagnosis.change.change import Change
    from loomtest.diagnosis.change.pairs import PairChange
    from loomtest.diagnosis.verdict import (
        Alternative,
        Coverage,
        Finding,
        NetRow,
        Suspect,
        Untested,
        Verdict,
        WireRow,
    )
    from loomtest.errors import (
        ArchiveError,
        ColumnsUnknown,
        IndexAwayError,
        IndexDamagedError,
        InputError,
        InstrumentError,
        LoomtestError,
        Problem,
        RunFolderError,
    )
    from loomtest.harness.changed import Setting
    from loomtest.harness.load import load_harness
    from loomtest.harness.model import Expect, Face, Harness, Limits, Net, Wire
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.load import load_readings
    from loomtest.readings.marked import Clip, Marked, Seat
    from loomtest.readings.model import Instrument, Job, Quantity, Range, Readings, Run
    from loomtest.words.verdict import judge

    __version__: str

_HOMES = {
    "bench.plan.plan": ("Plan", "Step", "plan"),
    "diagnosis.change.change": ("Change",),
    "diagnosis.change.pairs": ("PairChange",),
    "diagnosis.verdict": (
        "Alternative",
        "Coverage",
        "Finding",
        "NetRow",
        "Suspect",
        "Untested",
        "Verdict",
        "WireRow",
    ),
    "errors": (
        "ArchiveError",
        "ColumnsUnknown",
        "IndexAwayError",
        "IndexDamagedError",
        "InputError",
        "InstrumentError",
        "LoomtestError",
        "Problem",
        "RunFolderError",
    ),
    "harness.changed": ("Setting",),
    "harness.load": ("load_harness",),
    "harness.model": ("Expect", "Face", "Harness", "Limits", "Net", "Wire"),
    "readings.instrument": ("load_instrument",),
    "readings.load": ("load_readings",),
    "readings.marked": ("Clip", "Marked", "Seat"),
    "readings.model": ("Instrument", "Job", "Quantity", "Range", "Readings", "Run"),
    "words.verdict": ("judge",),
}

__all__ = [
    "Alternative",
    "ArchiveError",
    "Change",
    "Clip",
    "ColumnsUnknown",
    "Coverage",
    "Expect",
    "Face",
    "Finding",
    "Harness",
    "IndexAwayError",
    "IndexDamagedError",
    "InputError",
    "Instrument",
    "InstrumentError",
    "Job",
    "Limits",
    "LoomtestError",
    "Marked",
    "Net",
    "NetRow",
    "PairChange",
    "Plan",
    "Problem",
    "Quantity",
    "Range",
    "Readings",
    "Run",
    "RunFolderError",
    "Seat",
    "Setting",
    "Step",
    "Suspect",
    "Untested",
    "Verdict",
    "Wire",
    "WireRow",
    "__version__",
    "compare",
    "frame",
    "judge",
    "load_harness",
    "load_instrument",
    "load_readings",
    "plan",
]


def __dir__() -> list[str]:
    return __all__


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("loomtest")
    for module, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"loomtest.{module}"), name)
    raise AttributeError(f"module 'loomtest' has no attribute {name!r}")


def compare(
    harness: Harness, before: Readings, after: Readings, instrument: Instrument | None = None
) -> Change:
    """What changed between two runs with one `instrument`: pairs, and faults gone, remaining and new.

    >>> harness = loomtest.load_harness("orchard_tractor")
    >>> names = "orchard_tractor/1_before", "orchard_tractor/3_final"
    >>> runs = [loomtest.load_readings(name, harness) for name in names]
    >>> change = loomtest.compare(harness, *runs)
    >>> change.before, change.after, [finding.fault for finding in change.gone]
    ('fail', 'pass', ['short', 'high-resistance', 'crossed', 'open'])
    """
    from loomtest.diagnosis.change.change import Side, change_between
    from loomtest.words.verdict import judge

    sides = [Side(readings, judge(harness, readings, instrument), instrument) for readings in (before, after)]
    return change_between(harness, *sides)


def frame(answer: Verdict | Plan | Change | Readings, rows: str = "") -> pd.DataFrame:
    """The rows of an answer as a pandas frame, with columns as in its JSON form; or the readings of a run.

    Of a verdict `rows` is "wires" (without it), "findings", "undecided", "nets" or "untested"; of a plan
    "steps", of a change "pairs", of readings "readings". Raises ValueError, naming those that there are, for
    another word.

    >>> steps = loomtest.frame(loomtest.plan(loomtest.load_harness("orchard_tractor"), "none"))
    >>> list(steps.columns)
    ['step', 'what', 'from', 'to', 'expected_ohms', 'proves']
    """
    import pandas as pd

    from loomtest.readings.model import Readings

    if isinstance(answer, Readings):
        if rows not in ("", "readings"):
            raise ValueError(f"found rows {rows!r}; expected readings")
        return pd.DataFrame(answer.columns())
    tables = {name: value for name, value in answer.to_json().items() if isinstance(value, list)}
    first = next(name for name in ("wires", "steps", "pairs") if name in tables)
    if (rows or first) not in tables:
        raise ValueError(f"found rows {rows!r}; expected one of {', '.join(tables)}")
    return pd.DataFrame(tables[rows or first])
