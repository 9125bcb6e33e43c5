"""Which limits and expectations are not the usual ones: whoever changes them can make anything right."""

from __future__ import annotations

from dataclasses import dataclass, fields

from loomtest.harness.model import Expect, Harness, Limits

# What the loader notes about a key, and what the verdict states by itself.
_NO_SETTING = ("bad_joint_written", "isolation_written")
_COLDEST_C, _HOTTEST_C = -10.0, 45.0  # where people measure looms (common practice)


@dataclass(frozen=True, slots=True)
class Setting:
    """A key of `[expect]` or `[limits]` (`limits.bad_joint_milliohms`), its value and the usual one."""

    key: str
    value: float | str
    usual: float | str


def changed_settings(harness: Harness, run_temperature_c: float | None = None) -> tuple[Setting, ...]:
    """Every limit and expectation that is not the usual one, in the order of the tables.

    `run_temperature_c`, °C: what the run was measured at; told where no bench is that cold or hot.
    """
    found = []
    for table, used, usual in (("expect", harness.expect, Expect()), ("limits", harness.limits, Limits())):
        for one in fields(usual):
            value, by_default = getattr(used, one.name), getattr(usual, one.name)
            if one.name not in _NO_SETTING and value != by_default:
                found.append(Setting(f"{table}.{one.name}", value, by_default))
    if run_temperature_c is not None and not _COLDEST_C <= run_temperature_c <= _HOTTEST_C:
        found.append(Setting("run.temperature_c", run_temperature_c, Expect().temperature_c))
    return tuple(found)
