"""loomtest: proves a rebuilt vehicle wiring loom right before it goes back in.

    harness = loomtest.load_harness("orchard-tractor/")
    readings = loomtest.load_readings("after/", harness)
    verdict = loomtest.judge(harness, readings)

`plan` says which pairs to probe, `compare` what changed between two runs, and `frame` turns
the rows of a verdict into a pandas frame. Everything is imported when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from loomtest.bench.plan import plan
    from loomtest.diagnosis.change import Change
    from loomtest.diagnosis.judge import judge
    from loomtest.diagnosis.verdict import Verdict
    from loomtest.harness.load import load_harness
    from loomtest.harness.model import Harness
    from loomtest.readings.load import load_readings
    from loomtest.readings.model import Readings

__all__ = ["compare", "frame", "judge", "load_harness", "load_readings", "plan"]

_HOMES = {
    "judge": "loomtest.diagnosis.judge",
    "load_harness": "loomtest.harness.load",
    "load_readings": "loomtest.readings.load",
    "plan": "loomtest.bench.plan",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'loomtest' has no attribute {name!r}")


def compare(harness: Harness, before: Readings, after: Readings) -> Change:
    """What changed between two runs: pairs, and faults gone, remaining and new."""
    from loomtest.diagnosis.change import Side, change_between
    from loomtest.diagnosis.judge import judge

    sides = [Side(readings, judge(harness, readings)) for readings in (before, after)]
    return change_between(harness, *sides)


def frame(verdict: Verdict) -> pd.DataFrame:
    """The verdict's rows of wires as a pandas frame, one row a wire, columns as in the JSON form."""
    import pandas as pd

    return pd.DataFrame(verdict.to_json()["wires"])
