"""Which resistors make a kit of marker clips, worked out from the meter's own specification.

Kit and touches are read with one meter on one fixed range within the hour, so its gain and offset errors are
the same in both and fall out; what is left of a touch beside its clip's measured value is the display step
of either (a rectangle of full width, JCGM 100:2008, F.2.2.1) and what the meter drifts meanwhile. Four
things must show above that: one clip beside another, two side by side beside every third, a leak of 1 MΩ
(it lowers R by R²/(R + 1 MΩ)), and a joint of 100 Ω.

Within one octave two side by side are always less than the least single one; high values show leaks, low
ones show joints, and one range of an ordinary meter holds both. Kits over several decades fail the second:
a wire with kilohms in it reads whole where its clip has a megohm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from loomtest.harness.model import FloatArray
from loomtest.readings.model import Instrument, Range

DRIFT_SHARE = 1e-3  # standard uncertainty of a meter against itself within the hour (common practice)
LEAK_OHM = 1e6  # what must show beside a clip's value
JOINT_OHM = 100.0
APART_SD = 7.5  # standard uncertainties between two clips: 3.75 to either side, 2 in 10,000 mistaken
SIDE_BY_SIDE_SD = 5.0  # between two side by side and a third: both circuits' touches tell it, not one
SHOWS_SD = 4.0  # a leak or a joint shows at so many
MOST_CLIPS = 24  # of one kit: more do not fit between two values of one octave
_AMPLE = 1.25  # times the margins wanted: beyond it, values further apart are worth more
SERIES = ("E24", "E96")
# IEC 60063: the preferred numbers of E24 (5 %) were set before the rule of E96 (1 %) and do not follow it.
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


def series_values(series: str) -> tuple[float, ...]:
    """One decade, 1.0 up to below 10, of `E24` or `E96` (IEC 60063)."""
    if series == "E24":
        return tuple(value / 10 for value in _E24)
    return tuple(round(10 ** (step / 96), 2) for step in range(96))


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """How far apart things stand in standard uncertainties of a touch beside a measured clip.

    `apart`: the two nearest clips; `side_by_side`: two in parallel and the nearest third; `leak`: LEAK_OHM
    beside the clip that shows it least; `joint`: JOINT_OHM beside the clip that shows it least.
    """

    apart: float
    side_by_side: float
    leak: float
    joint: float

    @property
    def spare(self) -> float:
        """The least margin as a share of what is wanted: 1 or more is a good kit."""
        wanted = (APART_SD, SIDE_BY_SIDE_SD, SHOWS_SD, SHOWS_SD)
        have = (self.apart, self.side_by_side, self.leak, self.joint)
        return min(one / other for one, other in zip(have, wanted, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class KitChoice:
    """Resistors to buy: nominal `ohms` ascending, of `series`, for one range of the meter."""

    series: str
    ohms: tuple[float, ...]
    range: Range
    margins: Margins


@dataclass(frozen=True, slots=True)
class TooNear:
    """Two things that the meter cannot tell apart: `one` (a clip, or two side by side) and `other`.

    `share`: how far apart they stand, of their value; `wanted`: how far they should. `exchange`: the index of
    the clip to exchange.
    """

    one: tuple[int, ...]
    other: int
    share: float
    wanted: float
    exchange: int


def range_for(instrument: Instrument, highest_ohm: float) -> Range | None:
    """The smallest range that holds `highest_ohm`; None where the meter has none."""
    fitting = [one for one in instrument.ranges if one.up_to_ohms >= highest_ohm]
    return min(fitting, key=lambda one: one.up_to_ohms, default=None)


def touch_sd_ohm(ohm: FloatArray, held: Range) -> FloatArray:
    """Standard uncertainty of a touch beside a measured value `ohm`, both on the range `held`; any shape."""
    steps = 2 * held.resolution_ohms**2 / 12
    return np.asarray(np.sqrt(steps + (DRIFT_SHARE * ohm) ** 2), dtype=np.float64)


def touch_sd_of(ohm: float, held: Range) -> float:
    """`touch_sd_ohm` of one value."""
    return float(touch_sd_ohm(np.array(ohm), held))


def margins_of(ohms: Sequence[float], held: Range) -> Margins:
    """The margins of clips of these values (ohms, any order) on one range."""
    values = np.sort(np.asarray(ohms, dtype=np.float64))
    sd = touch_sd_ohm(values, held)
    gaps = np.diff(values) / np.maximum(sd[1:], sd[:-1])
    pairs = np.array([a * b / (a + b) for a, b in combinations(values.tolist(), 2)])
    beside = np.abs(pairs[:, None] - values[None, :]) / sd[None, :]
    return Margins(
        apart=float(gaps.min(initial=math.inf)),
        side_by_side=float(beside.min(initial=math.inf)),
        leak=float((values**2 / (values + LEAK_OHM) / sd).min()),
        joint=float((JOINT_OHM / sd).min()),
    )


def told_apart(ohms: Sequence[float], held: Range | None) -> bool:
    """Whether markers of these values (ohms) can be told apart in one round, two side by side from a third.
    Without a range that is not known: False for more than one."""
    if len(ohms) < 2:
        return True
    if held is None or max(ohms) > held.up_to_ohms:
        return False
    margins = margins_of(ohms, held)
    return margins.apart >= APART_SD and margins.side_by_side >= SIDE_BY_SIDE_SD


def choose_kit(instrument: Instrument, clips: int) -> KitChoice | None:
    """The kit of so many clips with the widest margins, of E24 where that will do; None where no kit will.

    `clips`: 2 to MOST_CLIPS.
    """
    best: KitChoice | None = None
    for series in SERIES:
        for held in instrument.ranges:
            for ohms in _windows(series, held, clips):
                margins = margins_of(ohms, held)
                choice = KitChoice(series=series, ohms=ohms, range=held, margins=margins)
                if best is None or _worth(choice) > _worth(best):
                    best = choice
        if best is not None and best.margins.spare >= 1:
            return best
    return None


def _worth(choice: KitChoice) -> tuple[float, float]:
    """Enough margin first, then the widest spread: bought values stand anywhere within their tolerance."""
    return min(choice.margins.spare, _AMPLE), choice.ohms[-1] / choice.ohms[0]


def _windows(series: str, held: Range, clips: int) -> list[tuple[float, ...]]:
    """Sets of `clips` neighbouring values of the upper decade of a range, and thinned-out octaves."""
    decade = 10 ** math.floor(math.log10(held.up_to_ohms))
    near = [v * scale for scale in (decade / 10, decade) for v in series_values(series)]
    near = [round(value, 6) for value in near if value < held.up_to_ohms]
    out = []
    for first in range(len(near)):
        run = near[first : first + clips]
        if len(run) == clips:
            out.append(tuple(run))
        octave = [value for value in near[first:] if value < 2 * near[first]]
        if len(octave) > clips:
            out.append(tuple(_thinned(octave, clips)))
    return out


def _thinned(values: list[float], count: int) -> list[float]:
    """`count` of the values, those dropped that stand closest to their neighbours."""
    kept = list(values)
    while len(kept) > count:
        gaps = [
            (kept[i + 1] / kept[i - 1] if 0 < i < len(kept) - 1 else kept[-1] / kept[0], i)
            for i in range(len(kept))
        ]
        kept.pop(min(gaps)[1])
    return kept


def too_near(ohms: Sequence[float], held: Range) -> list[TooNear]:
    """What measured clips (ohms, in the kit's order) leave untold: pairs too near each other, and two side by
    side too near a third; the nearest first."""
    out = []
    for a, b in combinations(range(len(ohms)), 2):
        found = _near((a,), b, ohms[a], ohms[b], APART_SD, held)
        if found:
            out.append(found)
        both = ohms[a] * ohms[b] / (ohms[a] + ohms[b])
        for c in range(len(ohms)):
            found = _near((a, b), c, both, ohms[c], SIDE_BY_SIDE_SD, held)
            if found:
                out.append(found)
    named = [index for near in out for index in (*near.one, near.other)]
    often = {index: named.count(index) for index in named}
    out = [
        TooNear(n.one, n.other, n.share, n.wanted, max((n.other, *n.one), key=lambda i: (often[i], i)))
        for n in out
    ]
    return sorted(out, key=lambda near: near.share / near.wanted)


def _near(
    one: tuple[int, ...], other: int, ohm: float, beside_ohm: float, wanted_sd: float, held: Range
) -> TooNear | None:
    sd = float(touch_sd_ohm(np.array(max(ohm, beside_ohm)), held))
    wanted = wanted_sd * sd / beside_ohm
    share = abs(ohm - beside_ohm) / beside_ohm
    return TooNear(one, other, share, wanted, other) if share < wanted else None
