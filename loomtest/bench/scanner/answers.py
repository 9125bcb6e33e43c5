"""What a pin-scanner answers: the types that the driver gives to those who use it."""

from __future__ import annotations

from dataclasses import dataclass

from loomtest.bench.scanner.protocol import PinValue
from loomtest.errors import InstrumentError


@dataclass(frozen=True, slots=True)
class Identity:
    """What the board says of itself. `switches`: it has transistor switches (milliohms, parallel tests)."""

    firmware: str
    pins: int
    switches: bool
    calibrated: bool


@dataclass(frozen=True, slots=True)
class SelfTest:
    """`noise_codes`: standard deviation of one conversion; `bad`: pins (from 1) whose path is not right."""

    passed: bool
    baseline_code: int
    noise_codes: float
    bad: frozenset[int]


@dataclass(frozen=True, slots=True)
class PinRow:
    """One pin (from 1) driven high against all others: `values[k]` belongs to pin k + 1."""

    pin: int
    values: tuple[PinValue, ...]


@dataclass(frozen=True, slots=True)
class RangeCalibration:
    """One range as calibrated: `scale` in units per ratio, `ppm` its standard uncertainty (0: never)."""

    range: int
    scale: float
    zero: int
    ppm: int


class StandingVoltageError(InstrumentError):
    """A voltage stands on the loom: nothing was driven, nothing was measured."""

    def __init__(self, pin: int, against: int, volts: float) -> None:
        self.pin, self.against, self.volts = pin, against, volts
        more = "at least " if volts > 4.9 else ""
        super().__init__(
            f"{more}{volts:.1f} V stands at scanner pin {pin} against pin {against}: the scan is refused. "
            "Disconnect the battery, negative first, and let charged parts run down"
        )
