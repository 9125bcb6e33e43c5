"""The meter that is assumed where nobody stated one, as data: who judges opens no file for it.

The figures are those of `data/instruments/handheld-3half.toml`; a test holds that they agree.
"""

from __future__ import annotations

from loomtest.readings.model import Instrument, Range

UNKNOWN_LEADS_OHM = (0.0, 0.5)  # least and most of a pair of leads that nobody stated
TWO_WIRE_LEAD_UNCERTAINTY_OHM = 0.03  # a lead is never known exactly,
TWO_WIRE_TOUCH_OHM = 0.02  # and no touch is like another (common practice; the format's own example)

_HANDHELD = Instrument(
    name="handheld meter, 3 1/2 digits",
    autorange=True,
    lead_uncertainty_ohms=TWO_WIRE_LEAD_UNCERTAINTY_OHM,
    touch_ohms=TWO_WIRE_TOUCH_OHM,
    open_above_ohms=2e7,
    beep_below_ohms=50.0,
    ranges=(
        Range(200.0, 0.8, 3.0, 0.1),
        Range(2e3, 0.8, 2.0, 1.0),
        Range(2e4, 0.8, 2.0, 10.0),
        Range(2e5, 0.8, 2.0, 100.0),
        Range(2e6, 1.0, 2.0, 1e3),
        Range(2e7, 1.5, 5.0, 1e4),
    ),
    assumed=True,
)


def generic_handheld() -> Instrument:
    """A handheld meter of 3½ digits, ranging by itself, leads unknown."""
    return _HANDHELD


def over_range_proves_ohm(instrument: Instrument) -> float:
    """What a bare over-range reading of this meter proves, in ohms (0: nothing)."""
    if instrument.autorange and instrument.open_above_ohms is not None:
        return instrument.open_above_ohms
    if instrument.ranges:
        return min(r.up_to_ohms for r in instrument.ranges)
    return 0.0
