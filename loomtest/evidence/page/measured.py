"""The parts of the report that say how it was measured and what it was held to."""

from __future__ import annotations

import re
from dataclasses import fields

from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.model import Harness, Limits
from loomtest.readings.model import Instrument, Readings
from loomtest.words.numbers import ohms, percent, volts


def how_measured(readings: Readings, instrument: Instrument | None) -> list[tuple[str, str]]:
    """Rows of name and value: the run, the meter, its leads, the temperature."""
    rows: list[tuple[str, str]] = [
        ("Readings", f"{len(readings):,} from {source_name(readings) or 'a table'}")
    ]
    run = readings.run
    if run:
        told = (("Stage", run.stage), ("Started", run.started), ("By", run.operator), ("Notes", run.notes))
        rows += [(name, value) for name, value in told if value]
        if run.temperature_c is not None:
            rows.append(("Temperature", f"{run.temperature_c:g} °C"))
        if run.harness_digest:
            rows.append(("Harness, SHA-256", run.harness_digest))
    if instrument is None:
        return [*rows, ("Meter", "not stated: an ordinary handheld meter is assumed")]
    rows.append(("Meter", instrument.name + (" (assumed)" if instrument.assumed else "")))
    if instrument.method == "four-wire":
        rows.append(("Leads", "four-wire: the leads do not count"))
    elif instrument.lead_ohms is None:
        rows.append(("Leads", "not measured: estimated from the readings"))
    else:
        rows.append(
            ("Leads", f"{ohms(instrument.lead_ohms)} taken off, ± {ohms(instrument.lead_uncertainty_ohms)}")
        )
    if instrument.open_above_ohms is not None:
        rows.append(("Over-range above", ohms(instrument.open_above_ohms)))
    return rows


def source_name(readings: Readings) -> str:
    """The file or folder of the readings, without the way to it: that is the workshop's own affair."""
    return re.split(r"[/\\]", re.sub(r"[/\\]+$", "", str(readings.source or "")))[-1]


def meter_ranges(instrument: Instrument | None) -> list[tuple[str, str, str]]:
    """Rows of range, limit of error and smallest step."""
    if instrument is None:
        return []
    return [
        (
            ohms(one.up_to_ohms, 3),
            f"{one.percent:g} % of reading + {ohms(one.counts * one.resolution_ohms)}",
            ohms(one.resolution_ohms),
        )
        for one in instrument.ranges
    ]


def limits_held(harness: Harness, verdict: Verdict) -> list[tuple[str, str]]:
    """Rows of what was asked, its limit, and where the limit comes from."""
    limits, expect = harness.limits, harness.expect
    usual = Limits()
    changed = {f.name for f in fields(limits) if getattr(limits, f.name) != getattr(usual, f.name)}

    def origin(name: str, why: str) -> str:
        return f" (from {name}, set in harness.toml)" if name in changed else f" (default; {why})"

    joint = (
        f"at most {limits.bad_joint_milliohms:g} mΩ above a healthy wire"
        + origin("bad_joint_milliohms", "common practice")
        + f", and where the amperes are known at most {volts(limits.joint_drop_volts)} lost"
        + origin("joint_drop_volts", "common practice")
    )
    if verdict.joints_judged_at_ohms is not None:
        joint += f". These readings were judged at {ohms(verdict.joints_judged_at_ohms)}"
    return [
        ("A wire and its joints", joint + "."),
        (
            "A healthy wire",
            f"annealed copper (IACS, 17.241 mΩ·mm²/m at 20 °C) × {expect.copper_factor:g} for lay "
            "and stranding, at the temperature of the conductors, and two joints of "
            f"{expect.joint_milliohms:g} mΩ"
            "; a wire is never failed for less than twice the usual spread of such wires.",
        ),
        (
            "A wire of unknown size or length",
            f"at most {ohms(limits.continuity_ohms)} for its path"
            + origin("continuity_ohms", "common practice")
            + ".",
        ),
        (
            "Joined",
            f"below {ohms(limits.short_below_ohms)}" + origin("short_below_ohms", "common practice") + ".",
        ),
        (
            "Apart",
            f"above {ohms(limits.isolation_ohms)}"
            + origin("isolation_ohms", "common practice")
            + f"; pairs asked for: {verdict.isolation}.",
        ),
        (
            "When it counts as right or wrong",
            f"when the probability is at least {percent(limits.confidence)} (JCGM 106:2012); "
            "else it is doubtful.",
        ),
    ]
