"""The analogue side of the simulated pin-scanner: what its converter reads, for what the firmware has set.

The same network as firmware_notes/simulator/board.c, number for number: multiplexers with on-resistance and
leakage, reference resistors, constant current, settling, noise and the converter's steps. Sneak paths come
out as in copper, because the whole loom is solved for every state.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.bench.rehearsal.network import Network, pieces_of, pin_impedance

# Fixed by the schematic (firmware_notes/schematic.txt).
SUPPLY_V = 5.0
MIDDLE_V = 2.5
FORCE_OHM = 470.0
CHIP_OHM = 25.0
SWITCH_OHM = 0.5
DIODE_DROP_V = 0.3
FEED_OHM = 100e3
SOURCE_OHM = 1.0  # of the constant current source at its stop
COMPLIANCE_V = 4.5
PEDESTAL_V = 0.1
LOOM_DIODE_V = 0.55
LOOM_DIODE_OHM = 5.0

FORCE_PLUS, FORCE_MINUS, SENSE_PLUS, SENSE_MINUS = range(4)
OPEN, LOW, HIGH = range(3)  # the common of the force-plus plane
OFF, CURRENT, FEED = range(3)  # what feeds bus H
CHANNEL_L, CHANNEL_P, CHANNEL_N, CHANNEL_D, CHANNEL_I, CHANNEL_H = range(6)
_WORD = (1 << 64) - 1


def uniform(seed: int, n: int) -> float:
    """The n-th number of [0, 1) of a seed: splitmix64 (Steele, Lea, Flood 2014), as in board.c."""
    z = (seed * 0x9E3779B97F4A7C15 + (n + 1) * 0xD1B54A32D192ED03) & _WORD
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _WORD
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _WORD
    return ((z ^ (z >> 31)) >> 11) * 2.0**-53


@dataclass(frozen=True)
class State:
    """What the firmware has set; planes hold a pin from 0, or None; `high`, `low` pins of switches."""

    planes: tuple[int | None, int | None, int | None, int | None] = (None, None, None, None)
    references: int = 0
    drive: int = OPEN
    source: int = OFF
    high: tuple[int, ...] = ()
    low: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Branch:
    """Volts behind ohms, into node `a` and out of node `b` (None: ground)."""

    a: int
    b: int | None
    ohms: float
    volts: float
    group: int = 0  # 1: shares the shunt, 2: shares the feed resistor


class Analog:
    """The board's analogue state over time; `change` changes it, `code` converts.

    Every pin keeps v(t) = dc + offset · exp(−(t − since)/tau); a change touches only the parts of the loom
    that hang on what changed, the rest goes on floating.
    """

    def __init__(self, network: Network) -> None:
        pins, kept = network.pins, network.kept
        self.conversions = 0
        self.state = State()
        self._dc, self._offset = [0.0] * kept, [0.0] * kept
        self._tau, self._since = [1.0] * kept, [0.0] * kept
        self._shunt_v = self._bus_h_v = self._bus_l_v = 0.0
        self._touched: set[int] = set()
        self.load(network)
        seed = int(network.parts.seed) + 1000003
        on, spread = network.parts.mux_on, network.parts.mux_spread
        self._mux = [
            [on + spread * (2.0 * uniform(seed, p * 128 + q) - 1.0) for q in range(pins)] for p in range(4)
        ]
        self._settle_pins(set(self._piece), 0.0)
        self.change(self.state, 0.0)

    def load(self, network: Network) -> None:
        """Another loom on the same board (a joint that opens while the loom is flexed)."""
        self.network, self.parts = network, network.parts
        z = pin_impedance(network)
        self._z: list[list[float]] = z.tolist()
        self._charge: list[float] = (self.parts.capacitance * z[:, : network.pins].sum(axis=1)).tolist()
        self._piece = pieces_of(network)
        self._pins_of: dict[int, list[int]] = {}
        for pin, piece in enumerate(self._piece):
            self._pins_of.setdefault(piece, []).append(pin)

    # ---- one state ----

    def _bus_l(self) -> tuple[float, float]:
        """(ohms, volts) of bus L by itself: the references and its multiplexers' leakage."""
        leak = self.network.pins / self.parts.mux_off
        g = leak
        references = self.state.references
        for bit, ohms in ((1, self.parts.ref_1k), (2, self.parts.ref_10k), (4, self.parts.ref_100k)):
            if references & bit:
                g += 1.0 / (ohms + CHIP_OHM)
        return 1.0 / g, MIDDLE_V * leak / g

    def _attach(self, l_ohm: float, l_v: float) -> tuple[list[_Branch], int | None, int | None]:
        """(branches, the one to bus L, the pin of the constant current)."""
        branches, state = [], self.state
        plus, minus, *_ = state.planes
        to_l: int | None = None
        current_pin: int | None = None
        if plus is not None and state.drive != OPEN:
            ohms = FORCE_OHM + self._mux[FORCE_PLUS][plus] + CHIP_OHM
            branches.append(_Branch(plus, None, ohms, SUPPLY_V if state.drive == HIGH else 0.0))
        if minus is not None:
            to_l = len(branches)
            branches.append(_Branch(minus, None, FORCE_OHM + self._mux[FORCE_MINUS][minus] + l_ohm, l_v))
        low, high = set(state.low), set(state.high)
        for pin in sorted(low | high):
            if pin in low:
                branches.append(_Branch(pin, None, SWITCH_OHM, 0.0, 1))
            if pin in high and state.source == CURRENT and len(high) == 1:
                current_pin = pin
            if pin in high and state.source == CURRENT and len(high) > 1:  # many: the source at its stop
                branches.append(_Branch(pin, None, SWITCH_OHM, COMPLIANCE_V, 2))
            if pin in high and state.source == FEED:
                branches.append(_Branch(pin, None, SWITCH_OHM, SUPPLY_V - DIODE_DROP_V, 2))
        branches += [_Branch(a, b, ohms, volts) for a, b, volts, ohms in self.network.sources]
        return branches, to_l, current_pin

    def _solve(self, branches: list[_Branch], rest: list[float], driven: bool) -> list[float]:
        """Branch currents; `rest`: pin voltages without them, against the middle of the supply."""
        z, shared = self._z, (0.0, self.parts.shunt, SOURCE_OHM if self.state.source == CURRENT else FEED_OHM)
        matrix, right = [], []
        for p in branches:
            za = z[p.a]
            zb = None if p.b is None else z[p.b]
            row = []
            for q in branches:
                m = za[q.a] - (0.0 if q.b is None else za[q.b])
                if zb is not None:
                    m -= zb[q.a] - (0.0 if q.b is None else zb[q.b])
                if p.group and p.group == q.group:
                    m += shared[p.group]
                row.append(m + p.ohms if p is q else m)
            matrix.append(row)
            drive = p.volts - (MIDDLE_V if p.b is None else 0.0) if driven else 0.0
            right.append(drive - rest[p.a] + (0.0 if p.b is None else rest[p.b]))
        return _gauss(matrix, right)

    def _volts(self, branches: list[_Branch], current: list[float], rest: list[float], pin: int) -> float:
        z = self._z[pin]
        v = rest[pin]
        for branch, i in zip(branches, current, strict=True):
            v += (z[branch.a] - (0.0 if branch.b is None else z[branch.b])) * i
        return v

    def _settled(self, fixed: list[_Branch], rest: list[float]) -> tuple[list[_Branch], list[float]]:
        """(branches, currents) with the loom's diodes on or off as they must be; leakage turns none on."""
        diodes = self.network.diodes
        on: set[int] = set()
        idle: set[int] = set()
        branches, current = fixed, self._solve(fixed, rest, True)
        for _ in range(2 * len(diodes)):
            forward = [
                self._volts(branches, current, rest, a) - self._volts(branches, current, rest, k)
                for a, k in diodes
            ]
            fresh = {i for i, f in enumerate(forward) if f > LOOM_DIODE_V and i not in on | idle}
            weak = {i for i in on if (forward[i] - LOOM_DIODE_V) / LOOM_DIODE_OHM < 1e-6}
            idle |= weak
            if not fresh and not weak:
                break
            on = (on | fresh) - weak
            conducting = [
                _Branch(diodes[i][1], diodes[i][0], LOOM_DIODE_OHM, -LOOM_DIODE_V) for i in sorted(on)
            ]
            branches = fixed + conducting
            current = self._solve(branches, rest, True)
        return branches, current

    def change(self, state: State, t_s: float) -> None:
        """The firmware has set something at `t_s`: a new solution, and what is left of the old one decays."""
        self.state = state
        l_ohm, l_v = self._bus_l()
        fixed, to_l, current_pin = self._attach(l_ohm, l_v)
        rest = [0.0] * self.network.kept
        if current_pin is not None:
            rest = [self.parts.current * z for z in self._z[current_pin]]
            branches, current = self._settled(fixed, rest)
            if MIDDLE_V + self._volts(branches, current, rest, current_pin) > COMPLIANCE_V:
                rest = [0.0] * self.network.kept  # nothing takes the current: the source runs into its stop
                branches, current = self._settled(
                    [*fixed, _Branch(current_pin, None, SOURCE_OHM + SWITCH_OHM, COMPLIANCE_V)], rest
                )
        else:
            branches, current = self._settled(fixed, rest)
        flows = list(zip(branches, current, strict=True))
        self._shunt_v = -self.parts.shunt * sum(i for branch, i in flows if branch.group == 1)
        self._bus_h_v = SUPPLY_V - FEED_OHM * sum(i for branch, i in flows if branch.group == 2)
        self._bus_l_v = l_v - (0.0 if to_l is None else current[to_l] * l_ohm)
        pins = {branch.a for branch in branches} | {branch.b for branch in branches if branch.b is not None}
        pieces = {self._piece[pin] for pin in pins} | (
            {self._piece[current_pin]} if current_pin is not None else set()
        )
        self._settle_pins(self._touched - pieces, t_s)
        self._touched = pieces
        # Elmore's time constants: the sum over pins of transfer resistance times capacitance
        slow = self._solve(branches, self._charge, False)
        for piece in pieces:
            for pin in self._pins_of[piece]:
                tau = max(self._volts(branches, slow, self._charge, pin), 1e-9)
                self._move(pin, MIDDLE_V + self._volts(branches, current, rest, pin), tau, t_s)

    def _settle_pins(self, pieces: set[int], t_s: float) -> None:
        """Pieces of the loom that nothing holds any more drift to the middle of the supply."""
        for piece in pieces:
            for pin in self._pins_of.get(piece, ()):
                self._move(pin, MIDDLE_V, self._charge[pin], t_s)

    def _move(self, pin: int, dc: float, tau: float, t_s: float) -> None:
        self._offset[pin] = self._dc[pin] + self._left(pin, t_s) - dc
        self._dc[pin], self._tau[pin], self._since[pin] = dc, tau, t_s

    # ---- conversions ----

    def _left(self, pin: int, t_s: float) -> float:
        """What is left of the pin's earlier voltage."""
        return self._offset[pin] * math.exp(-(t_s - self._since[pin]) / self._tau[pin])

    def _pin_v(self, plane: int, t_s: float) -> float:
        pin = self.state.planes[plane]
        return 0.0 if pin is None else _clip(self._dc[pin] + self._left(pin, t_s))

    def _channel_v(self, channel: int, t_s: float) -> float:
        if channel == CHANNEL_P:
            return self._pin_v(SENSE_PLUS, t_s)
        if channel == CHANNEL_N:
            return self._pin_v(SENSE_MINUS, t_s)
        if channel == CHANNEL_D:
            across = self._pin_v(SENSE_PLUS, t_s) - self._pin_v(SENSE_MINUS, t_s)
            return _clip(PEDESTAL_V + self.parts.gain * (across + self.parts.amp_offset))
        if channel == CHANNEL_L:
            pin = self.state.planes[FORCE_MINUS]
            if pin is None:
                return self._bus_l_v
            l_ohm, _ = self._bus_l()
            share = l_ohm / (l_ohm + FORCE_OHM + self._mux[FORCE_MINUS][pin])
            return self._bus_l_v + share * self._left(pin, t_s)
        return self._shunt_v if channel == CHANNEL_I else self._bus_h_v

    def code(self, channel: int, quick: bool, t_s: float) -> int:
        """The converter's code, 0 to 1023, of one channel at `t_s`."""
        ideal = self._channel_v(channel, t_s) / SUPPLY_V * 1024.0
        seed = self.parts.seed
        bend = self.parts.inl * math.sin(6.283185307179586 * (ideal / 512.0 + 0.17 * channel + 0.1 * seed))
        noise = -6.0
        if self.parts.noise:
            first = self.conversions * 12
            for n in range(first, first + 12):
                noise += uniform(int(seed), n)
        self.conversions += 1
        code = math.floor(ideal + bend + self.parts.noise * (1.5 if quick else 1.0) * noise)
        return min(max(code, 0), 1023)


def _clip(volts: float) -> float:
    return min(max(volts, 0.0), SUPPLY_V)


def _gauss(m: list[list[float]], right: list[float]) -> list[float]:
    """Gaussian elimination with pivoting; for two or three branches faster than numpy."""
    n = len(right)
    if n == 2 and m[0][0] and m[1][1]:
        (a, b), (c, d) = m
        under = d - c / a * b if abs(a) >= abs(c) else 0.0
        if under:
            second = (right[1] - c / a * right[0]) / under
            return [(right[0] - b * second) / a, second]
    if n > 8:
        solution: list[float] = np.linalg.solve(np.array(m), np.array(right)).tolist()
        return solution
    for k in range(n):
        best = max(range(k, n), key=lambda i: abs(m[i][k]))
        m[k], m[best] = m[best], m[k]
        right[k], right[best] = right[best], right[k]
        for i in range(k + 1, n):
            f = m[i][k] / m[k][k]
            if f:
                for j in range(k, n):
                    m[i][j] -= f * m[k][j]
                right[i] -= f * right[k]
    out = [0.0] * n
    for k in range(n - 1, -1, -1):
        out[k] = (right[k] - sum(m[k][j] * out[j] for j in range(k + 1, n))) / m[k][k]
    return out
