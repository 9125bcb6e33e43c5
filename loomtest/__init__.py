"""loomtest: proves a rebuilt vehicle wiring loom right before it goes back in.

    harness = loomtest.load_harness("orchard-tractor/")
    readings = loomtest.load_readings("after/", harness)
    verdict = loomtest.judge(harness, readings)

`plan` says which pairs to probe, `compare` what changed between two runs, `load_instrument` describes the
meter, and `frame` turns the rows of an answer into a pandas frame. Everything is imported when it is first
used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from loomtest.bench.plan.plan import Plan, plan
    from loomtest.diagnosis.change.change import Change
    from loomtest.diagnosis.verdict import Verdict
    from loomtest.harness.load import load_harness
    from loomtest.harness.model import Harness
    from loomtest.readings.instrument import load_instrument
    from loomtest.readings.load import load_readings
    from loomtest.readings.model import Instrument, Readings
    from loomtest.words.verdict import judge

__all__ = ["compare", "frame", "judge", "load_harness", "load_instrument", "load_readings", "plan"]

_HOMES = {
    "judge": "loomtest.words.verdict",
    "load_harness": "loomtest.harness.load",
    "load_instrument": "loomtest.readings.instrument",
    "load_readings": "loomtest.readings.load",
    "plan": "loomtest.bench.plan.plan",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'loomtest' has no attribute {name!r}")


def compare(
    harness: Harness, before: Readings, after: Readings, instrument: Instrument | None = None
) -> Change:
    """What changed between two runs with one `instrument`: pairs, and faults gone, remaining and new."""
    from loomtest.diagnosis.change.change import Side, change_between
    from loomtest.words.verdict import judge

    sides = [Side(readings, judge(harness, readings, instrument), instrument) for readings in (before, after)]
    return change_between(harness, *sides)


def frame(answer: Verdict | Plan | Change, rows: str = "") -> pd.DataFrame:
    """The rows of an answer as a pandas frame, with columns as in its JSON form.

    Of a verdict `rows` is "wires" (without it), "findings", "undecided", "nets" or "untested"; of a plan
    "steps", of a change "pairs". Raises ValueError, naming those that there are, for another word.
    """
    import pandas as pd

    tables = {name: value for name, value in answer.to_json().items() if isinstance(value, list)}
    first = next(name for name in ("wires", "steps", "pairs") if name in tables)
    if (rows or first) not in tables:
        raise ValueError(f"found rows {rows!r}; expected one of {', '.join(tables)}")
    return pd.DataFrame(tables[rows or first])
