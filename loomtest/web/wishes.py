"""What was wished of a sitting on the bench page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SittingWishes:
    """How a new run is measured. `meter`: the port, as `--meter` of `loomtest log` takes it; "" by hand.

    `after`: the run whose findings were mended; only what that touched is asked again.
    `pace`: of a rehearsed meter, how many times as fast as ours its time goes.
    """

    stage: str = ""
    operator: str = ""
    instrument: str = ""
    meter: str = ""
    open_after_s: float | None = None
    pace: float = 1.0
    after: str = ""
