"""What a bad joint means in service: volts lost, watts turned to heat, the share of the system's voltage."""

from __future__ import annotations

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
