"""What is worth knowing about a run as a whole."""

from __future__ import annotations

import math
from functools import singledispatch

from loomtest.diagnosis.why import (
    CurrentAssumed,
    DependsOnDirection,
    JudgedCoarsely,
    LeadsDisagree,
    LeadsFromReadings,
    MeterNotGiven,
    Remark,
)
from loomtest.words.joints import advice_text
from loomtest.words.numbers import ohms, ohms_within


@singledispatch
def remark_text(remark: Remark) -> str:
    """One or two sentences. Raises TypeError for a remark without a sentence."""
    raise TypeError(f"no sentence for {type(remark).__name__}")


@remark_text.register
def _(remark: MeterNotGiven) -> str:
    return (
        f"You did not say which meter you used, so a {remark.assumed} with unknown leads is assumed. Name "
        "yours with --instrument for a more certain answer."
    )


@remark_text.register
def _(remark: LeadsFromReadings) -> str:
    found = ohms_within(remark.ohm, remark.uncertainty_ohm)
    return f"Lead resistance not given; worked out from your readings: {found}."


@remark_text.register
def _(remark: LeadsDisagree) -> str:
    return f"Every reading is off by about {ohms(remark.ohm)}, more than the leads explain: check the leads."


@remark_text.register
def _(remark: JudgedCoarsely) -> str:
    wanted = ohms(remark.advice.allowed_ohm)
    return (
        f"Joints were judged at {ohms(remark.at_ohm)}, because these readings cannot show less. To "
        f"see {wanted}, do one of these: {advice_text(remark.advice)}."
    )


@remark_text.register
def _(remark: DependsOnDirection) -> str:
    size = "over-range" if math.isinf(remark.difference_ohm) else ohms(remark.difference_ohm)
    return (
        f"{remark.start} to {remark.end} reads differently with the leads swapped (difference {size}). Check "
        "that the battery is disconnected: there is voltage, or a diode in the way."
    )


@remark_text.register
def _(remark: CurrentAssumed) -> str:
    return "The current of a voltage drop is taken to be known to 1 % (k = 1)."
