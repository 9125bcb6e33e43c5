"""What a bad joint means in service: volts lost, watts turned to heat, the share of the system's voltage."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomtest.harness.copper import volts_lost, watts_lost


@dataclass(frozen=True, slots=True)
class Meaning:
    """Of a resistance that carries `amps`; `share` is of the system's voltage."""

    volts: float
    watts: float
    share: float


def meaning(excess_ohm: float, amps: float, system_volts: float) -> Meaning:
    """Volts lost and watts made in an excess resistance (VD = R·I, FAA AC 43.13-1B 11-66d; P = R·I²)."""
    excess = max(excess_ohm, 0.0)
    volts = volts_lost(excess, amps)
    return Meaning(volts, watts_lost(excess, amps), volts / system_volts)


def consequence(excess_ohm: float | None, amps: float | None, system_volts: float) -> str:
    """One sentence for a person; empty where the current is not known.

    Where the joint would take the whole of the system's voltage the circuit simply does not work: I²R of the
    full current would be a figure that cannot happen.
    """
    if amps is None or not amps > 0 or excess_ohm is None or math.isnan(excess_ohm):
        return ""
    if not math.isfinite(excess_ohm):
        return f"at {amps:g} A nothing flows through it"
    lost = meaning(excess_ohm, amps, system_volts)
    if lost.share >= 1:
        return f"it cannot carry its {amps:g} A: the circuit will not work"
    return (
        f"at {amps:g} A it takes {quantity(lost.volts, 'V')} ({100 * lost.share:.2g} % of "
        f"{system_volts:g} V) and makes {quantity(lost.watts, 'W')} of heat in the joint"
    )


def quantity(value: float, unit: str) -> str:
    """A number with its unit for reading: `35 mΩ`, `0.44 Ω`, `1.2 kΩ`; two or three significant digits."""
    if math.isinf(value):
        return "over-range"
    size = abs(value)
    for factor, prefix in ((1e6, "M"), (1e3, "k")):
        if size >= factor * 0.9995:
            return f"{value / factor:.3g} {prefix}{unit}"
    if size >= 0.0995 or size == 0:
        return f"{value:.3g} {unit}"
    return f"{value * 1e3:.2g} m{unit}"
