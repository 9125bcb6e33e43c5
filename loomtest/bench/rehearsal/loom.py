"""A simulated loom on the bench: its copper, its faults, a hand that touches what the session asks for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from loomtest.bench.meter.settings import SerialSettings
from loomtest.bench.rehearsal.faults import TrueLoom, read_faults, true_loom
from loomtest.bench.rehearsal.touches import MeterFront, Touch
from loomtest.diagnosis.numbers.network import component_labels, effective_resistance
from loomtest.harness.model import Harness
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Instrument

LEADS_OHM = 0.18
INTERVAL_S = 0.25
SETTINGS = SerialSettings(terminator="\r\n", unit="ohm")
_HOLD_S = 6.0
_APART_S = 1.3
_DIODE_VOLTS = 0.56


class Copper:
    """The true resistances of a loom with its faults, steady and while it is flexed."""

    def __init__(self, loom: TrueLoom) -> None:
        self._loom = loom
        self._code = {point: index for index, point in enumerate(loom.points)}

    def ohm(self, start: str, end: str, flexed: bool = False) -> float:
        """What stands between two points; +inf where nothing joins them or a point is unknown."""
        if start not in self._code or end not in self._code:
            return math.inf
        edges = self._loom.flexing if flexed else self._loom.edges
        a = [self._code[edge[0]] for edge in edges]
        b = [self._code[edge[1]] for edge in edges]
        r = [edge[2] for edge in edges]
        pair = [self._code[start]], [self._code[end]]
        return float(effective_resistance(len(self._code), a, b, r, *pair).resistance_ohm[0])

    def conducts_as_diode(self, start: str, end: str) -> bool:
        """Whether a diode lies that way round between the two points."""
        if start not in self._code or end not in self._code:
            return False
        edges = self._loom.edges
        label = component_labels(
            len(self._code), [self._code[e[0]] for e in edges], [self._code[e[1]] for e in edges]
        )
        here, there = label[self._code[start]], label[self._code[end]]
        return any(
            label[self._code[anode]] == here and label[self._code[cathode]] == there
            for anode, cathode in self._loom.diodes
        )


class LoomPort:
    """Stands where a port can: prints a line per reading while a simulated hand touches and lifts.

    `touch` and `touch_tips` say what the session asked for; the hand takes its time, touches, holds for
    some seconds, lifts, and touches again until something else is asked for. `flexing`: the probes stay on
    and the loom is flexed, so that an intermittent fault shows.
    """

    def __init__(
        self,
        harness: Harness,
        folder: Path,
        instrument: Instrument,
        clock: Callable[[], float],
        seed: int = 0,
    ) -> None:
        self._copper = Copper(true_loom(harness, read_faults(folder, harness)))
        self._instrument, self._clock = instrument, clock
        self._rng = np.random.default_rng(seed)
        self._front = MeterFront(instrument, self._rng, INTERVAL_S)
        self._next_s = clock() + INTERVAL_S
        self._pair: tuple[str, str] | None = None
        self._path_ohm = self._flexed_ohm = math.inf
        self._touch: Touch | None = None
        self._touch_s = math.inf
        self._diode = self._flexing = False
        self._flex_from_s = self._flex_to_s = -math.inf

    def touch(self, start: str, end: str) -> None:
        """The session asks for these two points."""
        self._path_ohm = self._copper.ohm(start, end)
        self._flexed_ohm = self._copper.ohm(start, end, flexed=True)
        self._pair = (start, end)
        self._aim()

    def touch_tips(self) -> None:
        """The session asks for the two tips together."""
        self._path_ohm, self._pair = 0.0, None
        self._aim()

    def flex(self, start: str, end: str) -> None:
        """Clip onto two points for good and flex the loom."""
        self.touch(start, end)
        self._flexing = True
        self._touch = Touch(self._rng, self._path_ohm, 1e9, four_wire=self._four_wire, clipped=True)
        self._touch_s = self._clock() + 0.5

    def turn_to(self, function: str) -> None:
        """The person turns the meter to `resistance` or to `diode`."""
        self._diode = function == "diode"

    def _aim(self) -> None:
        self._touch = None
        self._touch_s = self._clock() + float(self._rng.uniform(1.2, 2.0))

    def read(self) -> bytes:
        """The lines printed by now."""
        out = b""
        while self._next_s <= self._clock():
            out += self._line(self._next_s)
            self._next_s += INTERVAL_S
        return out

    def write(self, data: bytes) -> None:
        """Nothing that is said to this meter matters."""

    def close(self) -> None:
        """The meter is put away."""

    def _line(self, now_s: float) -> bytes:
        if self._touch is None and now_s >= self._touch_s:
            self._touch = Touch(self._rng, self._path_ohm, _HOLD_S, four_wire=self._four_wire)
        if self._touch is not None and now_s > self._touch_s + self._touch.hold_s + _APART_S:
            self._touch, self._touch_s = None, now_s + 0.1
        instants = self._front.instants(now_s)
        ohms = np.full(8, np.inf)
        if self._touch is not None:
            ohms = self._touch.ohms(instants - self._touch_s) + (0.0 if self._four_wire else LEADS_OHM)
        if self._flexing:
            ohms = self._flexed(now_s, instants, ohms)
        if self._diode and self._pair is not None:
            touching = self._touch is not None and now_s >= self._touch_s + 0.3
            conducts = touching and self._copper.conducts_as_diode(*self._pair)
            return f"{_DIODE_VOLTS:.3f} V\r\n".encode() if conducts else b"OL V\r\n"
        shown = self._front.show(ohms)
        if math.isinf(shown.value):
            return b"OL ohm\r\n"
        decimals = max(0, round(-math.log10(shown.step)))
        return f"{shown.value:.{decimals}f} ohm\r\n".encode()

    @property
    def _four_wire(self) -> bool:
        return self._instrument.method == "four-wire"

    def _flexed(self, now_s: float, instants: np.ndarray, ohms: np.ndarray) -> np.ndarray:
        """Now and then the loom is bent where it is weak: for a moment the flexed copper counts."""
        settling = now_s < self._touch_s + 3.0  # nobody bends it before the clips are on
        if not settling and now_s > self._flex_to_s and self._rng.random() < 0.1 * INTERVAL_S:
            self._flex_from_s = now_s
            self._flex_to_s = now_s + float(self._rng.uniform(0.1, 0.7))
        extra = self._flexed_ohm - self._path_ohm if math.isfinite(self._flexed_ohm) else math.inf
        bent = (instants >= self._flex_from_s) & (instants <= self._flex_to_s)
        return np.where(bent & (extra != 0.0), ohms + extra, ohms) if extra == extra else ohms


def rehearsal_instrument(instrument: Instrument) -> Instrument:
    """The meter that is rehearsed with: the one that was stated, else one that reads centiohms. The loom on
    the bench has ohms alone, no lamp that feeds it and no capacitance."""
    meter = load_instrument("handheld-4half") if instrument.assumed else instrument
    return replace(meter, voltage_ranges=(), capacitance_ranges=())
