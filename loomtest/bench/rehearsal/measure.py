"""The firmware's measuring for the rehearsal board: firmware_notes/firmware/measure.c in Python.

Whole numbers throughout, as on the chip; tests hold the two to the same conversation, byte for byte.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from loomtest.bench.rehearsal import analog
from loomtest.bench.rehearsal.analog import Analog, State

MILLIOHM, AMPLIFIED_1K, DIVIDER_1K, DIVIDER_10K, DIVIDER_100K = range(5)
REF_NONE, REF_1K, REF_10K, REF_100K, REF_ALL = 0, 1, 2, 4, 7
REFERENCE = (REF_NONE, REF_1K, REF_1K, REF_10K, REF_100K)
UNUSABLE = 2**31 - 1
SAME = (-1, 0)  # a milliohm pair that was measured, both ways, from the other pin
SAMPLES, QUICK = 8, 4
FULL_SCALE = 1000
SCREEN_US, SCREEN_CODES, OVER_CODES, STANDING_CODES = 200, 8, 22, 30
# Time that one conversion, and one setting of the planes or of a port, take (seconds).
CONVERT_S, QUICK_S, PLANES_S, SWITCHES_S, PORT_S = 106e-6, 28e-6, 7e-6, 30e-6, 1e-6


@dataclass
class Calibration:
    """Units per unit ratio in 1/256, zero offsets, standard uncertainties in millionths (0: never done)."""

    scale: list[int] = field(default_factory=lambda: [u * 256 for u in (50000, 25000, 100000, 10000, 1000)])
    zero: list[int] = field(default_factory=lambda: [0, 0])
    ppm: list[int] = field(default_factory=lambda: [0] * 5)


def _scaled(scale: int, num: int, den: int) -> int:
    """scale · num / den / 256, rounded half away from zero, at most what 32 bits hold."""
    if den <= 0:
        return UNUSABLE
    den *= 256
    value = min((scale * abs(num) + den // 2) // den, UNUSABLE)
    return -value if num < 0 else value


class BoardMeter:
    """The measuring half of the firmware on a simulated analogue side; pins count from 0."""

    def __init__(self, board: Analog, switches: bool = True) -> None:
        self.analog, self.switches = board, switches
        self.calibration = Calibration()
        self.baseline = 0
        self._amplifier_zero = 0
        self.t_s = 0.0
        self.pins = board.network.pins

    # ---- the port ----

    def _set(self, took_s: float, **changes: object) -> None:
        self.t_s += took_s
        state = replace(self.analog.state, **changes)  # type: ignore[arg-type]  # names come from the protocol
        if state != self.analog.state:
            self.analog.change(state, self.t_s)

    def _planes(
        self, plus: int | None, minus: int | None, sense_plus: int | None, sense_minus: int | None
    ) -> None:
        self._set(PLANES_S, planes=(plus, minus, sense_plus, sense_minus))

    def _reference(self, references: int) -> None:
        self._set(PORT_S, references=references)

    def _drive(self, drive: int) -> None:
        self._set(PORT_S, drive=drive)

    def _source(self, source: int) -> None:
        self._set(PORT_S, source=source)

    def _switches(self, high: tuple[int, ...] = (), low: tuple[int, ...] = ()) -> None:
        self._set(SWITCHES_S, high=high, low=low)

    def _wait(self, us: int) -> None:
        self.t_s += us * 1e-6

    def _convert(self, channel: int, quick: bool = False) -> int:
        code = self.analog.code(channel, quick, self.t_s)
        self.t_s += QUICK_S if quick else CONVERT_S
        return code

    def _sum(self, channel: int, samples: int = SAMPLES) -> int:
        return sum(self._convert(channel) for _ in range(samples))

    def release(self) -> None:
        """Every plane, switch, source and reference off."""
        self._set(SWITCHES_S)
        if self.analog.state != State():
            self.analog.change(State(), self.t_s)

    # ---- one pair ----

    def measure_baseline(self) -> None:
        """Bus L with nothing connected."""
        self.release()
        self._reference(REF_100K)
        self._wait(500)
        self.baseline = (self._sum(analog.CHANNEL_L) + SAMPLES // 2) // SAMPLES
        self._planes(None, 0, 0, 0)
        self._reference(REF_1K)
        self._wait(200)
        self._amplifier_zero = (self._sum(analog.CHANNEL_D, 4 * SAMPLES) + 1) // 2
        self.release()

    def _divider(self, range_: int) -> int:
        p, n, low = (self._sum(c, QUICK) for c in (analog.CHANNEL_P, analog.CHANNEL_N, analog.CHANNEL_L))
        if range_ == DIVIDER_100K:
            low -= self.baseline * QUICK
        return _scaled(self.calibration.scale[range_], p - n, low)

    def _amplified(self) -> int:
        on, low = self._sum(analog.CHANNEL_D, QUICK), self._sum(analog.CHANNEL_L, QUICK)
        if on > FULL_SCALE * QUICK:
            return UNUSABLE
        value = _scaled(self.calibration.scale[AMPLIFIED_1K], 4 * on - self._amplifier_zero, 4 * low)
        return value - self.calibration.zero[1]

    def _milliohm(self, start: int, end: int) -> int:
        across = current = 0
        self._drive(analog.OPEN)
        self._reference(REF_NONE)
        for plus, minus in ((start, end), (end, start)):
            self._planes(None, None, plus, minus)
            self._switches((plus,), (minus,))
            self._source(analog.CURRENT)
            self._wait(100)
            across += self._sum(analog.CHANNEL_D)
            current += self._sum(analog.CHANNEL_I, SAMPLES // 2)
            self._source(analog.OFF)
        self._switches()
        if across > 2 * FULL_SCALE * SAMPLES:
            return UNUSABLE
        value = _scaled(self.calibration.scale[MILLIOHM], across - self._amplifier_zero, 2 * current)
        return value - self.calibration.zero[0]

    def _screen(self, start: int, end: int) -> int:
        self._planes(start, end, start, end)
        self._drive(analog.HIGH)
        self._reference(REF_ALL)
        self._wait(20)
        self._reference(REF_100K)
        self._wait(SCREEN_US)
        return self._convert(analog.CHANNEL_L, quick=True)

    def _measure_low(self, start: int, end: int, mirrored: bool) -> tuple[int, int]:
        p, n = self._convert(analog.CHANNEL_P), self._convert(analog.CHANNEL_N)
        if p <= n + 14:
            if self.switches and self._convert(analog.CHANNEL_D) <= 45:
                if mirrored:
                    return SAME
                value = self._milliohm(start, end)
                if value != UNUSABLE:
                    return MILLIOHM, value
                self._planes(start, end, start, end)
                self._reference(REF_1K)
                self._drive(analog.HIGH)
                self._wait(50)
            value = self._amplified()
            if value != UNUSABLE:
                return AMPLIFIED_1K, value
        return DIVIDER_1K, self._divider(DIVIDER_1K)

    def measure(self, start: int, end: int, mirrored: bool = False) -> tuple[int, int] | None:
        """(range, value in the range's unit) from `start` (high) to `end`; None: over-range; or SAME."""
        code = self._screen(start, end)
        if code < self.baseline + SCREEN_CODES:
            return None
        if code < 512:
            self._wait(2000)
            if self._convert(analog.CHANNEL_L) < 512:
                settled = self._sum(analog.CHANNEL_L) // SAMPLES
                if settled < self.baseline + OVER_CODES:
                    return None
                return DIVIDER_100K, self._divider(DIVIDER_100K)
        self._reference(REF_10K)
        self._wait(150)
        if self._convert(analog.CHANNEL_L) < 512:
            return DIVIDER_10K, self._divider(DIVIDER_10K)
        self._reference(REF_1K)
        self._wait(50)
        return self._measure_low(start, end, mirrored)

    def measure_in(self, range_: int, start: int, end: int) -> int:
        """The plain value of one range, for calibration; UNUSABLE when the range cannot hold it."""
        self._planes(start, end, start, end)
        self._reference(REFERENCE[range_])
        self._drive(analog.HIGH)
        self._wait(3000)
        if range_ == MILLIOHM:
            value = self._milliohm(start, end)
        else:
            value = self._amplified() if range_ == AMPLIFIED_1K else self._divider(range_)
        self.release()
        return value

    # ---- standing voltage, self-test ----

    def standing_mv(self, pin: int, against: int) -> int:
        """Millivolts that stand at a pin while another is held at ground; 0: none."""
        self._planes(pin, against, pin, None)
        self._reference(REF_ALL)
        self._drive(analog.LOW)
        self._wait(15)
        self._drive(analog.OPEN)
        self._wait(20)
        if self._convert(analog.CHANNEL_P, quick=True) < STANDING_CODES:
            return 0
        self._drive(analog.LOW)
        self._wait(2000)
        self._drive(analog.OPEN)
        self._wait(1000)
        code = self._convert(analog.CHANNEL_P)
        return 0 if code < STANDING_CODES else code * 5000 // 1024

    def pin_is_bad(self, pin: int) -> bool:
        """Self-test of one pin's path through all four planes."""
        self._planes(pin, pin, pin, pin)
        self._reference(REF_1K)
        self._drive(analog.HIGH)
        self._wait(200)
        p, n, low = (self._convert(c) for c in (analog.CHANNEL_P, analog.CHANNEL_N, analog.CHANNEL_L))
        self._drive(analog.LOW)
        self._wait(200)
        p_low, n_low = self._convert(analog.CHANNEL_P), self._convert(analog.CHANNEL_N)
        inside = 650 <= p <= 850 and 650 <= n <= 850 and 400 <= low <= 600 and p_low <= 20 and n_low <= 20
        return not inside

    def noise(self) -> int:
        """Noise of the amplified channel in hundredths of a code."""
        self._planes(0, 0, 0, 0)
        self._reference(REF_1K)
        self._drive(analog.LOW)
        self._wait(500)
        codes = [self._convert(analog.CHANNEL_D) for _ in range(64)]
        spread = 64 * sum(c * c for c in codes) - sum(codes) ** 2
        return min(math.isqrt(spread * 10000 // (64 * 63)), 0x7FFF)

    # ---- many pins at once ----

    def _ground_all(self) -> None:
        self.release()
        self._switches((), tuple(range(self.pins)))
        self._wait(1000)

    def apart(self, high: frozenset[int]) -> int:
        """Drives `high` against every other pin; the code of bus H (1023: nothing flows)."""
        self._ground_all()
        self._switches(tuple(sorted(high)), tuple(p for p in range(self.pins) if p not in high))
        self._source(analog.FEED)
        self._wait(3 * self.pins // 16 * 5000)
        code = self._sum(analog.CHANNEL_H) // SAMPLES
        self.release()
        return code

    def _loaded(self, pin: int) -> int:
        self._planes(None, pin, pin, None)
        self._wait(50)
        return self._convert(analog.CHANNEL_P)

    def reach(self, high: frozenset[int]) -> frozenset[int]:
        """Feeds `high`; the pins that follow, themselves included."""
        if not high:
            return frozenset()
        self._ground_all()
        self._switches(tuple(sorted(high)), ())
        self._source(analog.CURRENT)
        self._reference(REF_1K)
        self._wait(1000)
        fed = self._loaded(min(high))
        found = frozenset(pin for pin in range(self.pins) if 100 * self._loaded(pin) >= 95 * fed)
        self.release()
        return found
