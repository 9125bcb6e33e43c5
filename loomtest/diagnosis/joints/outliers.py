"""Like with like: where size or length is unknown, a wire is compared with the others of its kind.

Generalized ESD (Rosner 1983) from 25 wires on, Grubbs' test from 3, nothing below: a test is never used on
fewer values than its table allows. Lengths differ, so standing out is a suspicion and never a verdict; it
must also be far out on a scale that the outlier itself cannot stretch (median and MAD) and large in ohms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.statistics import generalized_esd, median_and_mad
from loomtest.harness.model import FloatArray, Harness, IntArray

ALPHA = 0.01
FAR_SIGMA = 5.0  # scaled median deviations above the median
FAR_OHM = 0.25  # more than vehicle wires of the usual sizes and lengths differ (common practice)
FAR_UNCERTAINTIES = 3.0
MOST_SHARE = 0.1  # of the wires may stand out


@dataclass(frozen=True, slots=True)
class Outlier:
    """A wire (index into the harness) that reads far above its like; `among` wires were compared."""

    wire: int
    ohm: float
    usual_ohm: float
    among: int


def outliers(harness: Harness, wires: IntArray, ohm: FloatArray, uncertainty: FloatArray) -> list[Outlier]:
    """Wires that stand out above those of the same kind and size; arrays are (k,) of wires of unknown size
    or length, each with a finite estimate."""
    alike: dict[tuple[str, float | None], list[int]] = {}
    for position, wire in enumerate(wires.tolist()):
        row = harness.wires[wire]
        alike.setdefault((row.kind, row.size_mm2), []).append(position)
    found = []
    for positions in alike.values():
        at = np.array(positions)
        values = ohm[at]
        flagged, _ = generalized_esd(values, max(1, int(MOST_SHARE * at.size)), ALPHA)
        middle, spread = median_and_mad(values)
        far = max(FAR_SIGMA * spread, FAR_OHM)
        for index in sorted(flagged):
            above = float(values[index]) - middle
            if above > far and above > FAR_UNCERTAINTIES * float(uncertainty[at[index]]):
                found.append(Outlier(int(wires[at[index]]), float(values[index]), middle, at.size))
    return sorted(found, key=lambda outlier: outlier.wire)
