"""Decisions by the published rule, and what to do where the readings do not decide.

JCGM 106:2012, one upper limit T and confidence c: pass where the probability of being within T is at least c,
asked without a prior on the wire itself (a prior never passes a useless reading); fail where the
probability of being bad is at least c; else undecided.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.statistics import normal_quantile
from loomtest.diagnosis.verdict import Row
from loomtest.diagnosis.why import Advice
from loomtest.harness.model import BoolArray, FloatArray

UNCERTAINTIES_FOR_TESTED = 3.0  # contract: a reading would change by more than this were the wire open
ADVISED_AMPS = 5.0  # for a voltage-drop test where the circuit's own current is not stated (common practice)


SUSPECT = 0.5  # contract: a wire likelier bad than not never passes


@dataclass(frozen=True, slots=True)
class Told:
    """What the readings say of one wire or group: whether they test it, the probability that it is `bad`,
    whether two touches (or another kind of reading) agree in that, the probability `within` its limit
    without a prior on itself, and that of lying `above` it with one. `decidable`: its uncertainty alone lets
    it be decided there, asked where amperes hold a wire to less than the limit of the run."""

    tested: bool
    bad: float
    agreed: bool
    within: float
    above: float
    decidable: bool = True


def row_verdict(told: Told, confidence: float) -> Row:
    """One of the contract's answers for one wire or group."""
    if told.bad >= confidence and told.agreed:
        return "fail"
    if not told.tested:
        return "untested"
    passes = told.within >= confidence and told.above <= 1 - confidence and told.bad < SUSPECT
    passes = passes and told.decidable
    return "pass" if passes else "undecided"


def resolved_ohms(
    estimate: FloatArray, uncertainty: FloatArray, expected: FloatArray, confidence: float
) -> float | None:
    """Smallest excess excluded at this confidence for nine wires of ten (None: no wire, or not for nine)."""
    if estimate.size == 0:
        return None
    least = np.maximum(estimate - expected, 0.0) + normal_quantile(confidence) * uncertainty
    ordered = np.sort(least)
    value = float(ordered[math.ceil(0.9 * ordered.size) - 1])
    return value if math.isfinite(value) else None


@dataclass(frozen=True, slots=True)
class Precision:
    """What stands between one wire and a decision, standard uncertainties in ohms: `own` of one reading,
    `shared` by all readings of the run, and `amps`, the circuit's current where stated."""

    own: float
    shared: float
    amps: float | None = None


def repeats_needed(allowed_excess: float, precision: Precision, confidence: float) -> int | None:
    """Number of readings whose mean would decide at this limit; None where averaging never can.

    Averaging shrinks only what is each reading's own: √(own²/n + shared²) ≤ limit/Φ⁻¹(c).
    """
    room = (allowed_excess / normal_quantile(confidence)) ** 2 - precision.shared**2
    if room <= 0 or not math.isfinite(precision.own):
        return None
    return max(1, math.ceil(precision.own**2 / room))


def advice_at(allowed_excess: float, precision: Precision, confidence: float) -> Advice:
    """How to decide at this limit, in numbers."""
    return Advice(
        allowed_ohm=allowed_excess,
        repeats=repeats_needed(allowed_excess, precision, confidence),
        shared_ohm=precision.shared,
        amps=precision.amps or ADVISED_AMPS,
    )


def tested(opening: FloatArray) -> BoolArray:
    """Where some reading would change by more than three uncertainties, were the wire open."""
    return np.asarray(opening > UNCERTAINTIES_FOR_TESTED, dtype=np.bool_)
