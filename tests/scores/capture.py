"""How well the hands-free capture takes simulated touches.

Run it: python -m tests.scores.capture [TOUCHES]

Three streams are made by `loomtest.bench.rehearsal.touches`: steady touches, shaky ones, and 1,000 s without
any touch (open leads, one-handed brushing, fingers on both tips). Printed: how many steady touches were
taken once with the right value (within the meter's own limit of error of what a perfect meter would show),
what was taken of the rest, and the median time from touch to taken over the settling that the test requires.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from loomtest.bench.meter.capture import Capture, StateChange
from loomtest.bench.rehearsal.touches import MeterFront, Touch
from loomtest.harness.model import FloatArray
from loomtest.readings.instrument import load_instrument
from loomtest.readings.model import Instrument
from tests.scores.hands import Brush, Fingers


class Contact(Protocol):
    hold_s: float

    def ohms(self, since_s: FloatArray) -> FloatArray: ...


@dataclass
class Score:
    touches: int
    once_and_right: int
    never: int
    twice: int
    wrong: int
    latency_ratio: float


def stream(
    contacts: Sequence[tuple[float, Contact]], front: MeterFront, until_s: float
) -> list[tuple[int, StateChange]]:
    """Run the capture over contacts (start, contact) in order; moves with the contact they fell in."""
    capture = Capture(front.instrument)
    moves: list[tuple[int, StateChange]] = []
    index = 0
    for tick in range(1, int(until_s / front.interval_s)):
        now = tick * front.interval_s
        while index < len(contacts) and now > contacts[index][0] + contacts[index][1].hold_s + 0.2:
            index += 1
        instants = front.instants(now)
        if index < len(contacts):
            start, contact = contacts[index]
            ohms = contact.ohms(instants - start)
        else:
            start, ohms = np.inf, np.full(8, np.inf)
        inside = index if now >= start else -1
        moves += [(inside, move) for move in capture.feed(now, front.show(ohms))]
    return moves


def within_limits(value: float, true: float, instrument: Instrument) -> bool:
    limit = next(
        each.percent / 100.0 * true + each.counts * each.resolution_ohms
        for each in instrument.ranges
        if true <= each.up_to_ohms
    )
    return abs(value - true) <= limit * (1 + 1e-9)


def steady_score(instrument: Instrument, count: int, seed: int, interval_s: float = 0.25) -> Score:
    rng = np.random.default_rng(seed)
    front = MeterFront(instrument, rng, interval_s)
    contacts: list[tuple[float, Contact]] = []
    now = 1.0
    required_s = Capture().rule.required_s(interval_s)
    top = min(2e4, instrument.ranges[-1].up_to_ohms / 2)
    for _ in range(count):
        path = (
            float(np.exp(rng.uniform(np.log(0.01), np.log(top))))
            if rng.random() < 0.4
            else float(rng.uniform(0, 1))
        )
        hold_s = max(1.0, required_s) * float(rng.uniform(2.5, 5.0))  # a person waits for the bell
        touch = Touch(rng, path, hold_s, four_wire=instrument.method == "four-wire")
        contacts.append((now, touch))
        now += touch.hold_s + float(rng.uniform(1.0, 3.0))
    taken: list[list[StateChange]] = [[] for _ in range(count)]
    for index, move in stream(contacts, front, now + 2):
        if move.what == "taken":
            assert index >= 0, "taken although nothing was touched"
            taken[index].append(move)
    right = [
        within_limits(moves[0].value_ohm, contact.true_ohm, instrument)
        for moves, (_, contact) in zip(taken, contacts, strict=True)
        if len(moves) == 1 and isinstance(contact, Touch)
    ]
    delays = [moves[0].time_s - start for moves, (start, _) in zip(taken, contacts, strict=True) if moves]
    return Score(
        count,
        sum(right),
        sum(not moves for moves in taken),
        sum(len(moves) > 1 for moves in taken),
        len(right) - sum(right),
        float(np.median(delays)) / required_s,
    )


def false_takes(
    instrument: Instrument, kind: str, seconds: float, seed: int, interval_s: float = 0.25
) -> int:
    """Readings taken in so many seconds of `open`, `brushing`, `fingers` or `shaky` contacts."""
    rng = np.random.default_rng(seed)
    front = MeterFront(instrument, rng, interval_s)
    contacts: list[tuple[float, Contact]] = []
    now = 1.0
    while kind != "open" and now < seconds:
        hold = float(rng.uniform(1.0, 8.0))
        contact: Contact
        if kind == "brushing":
            contact = Brush(rng, hold)
        elif kind == "fingers":
            contact = Fingers(rng, hold)
        else:
            contact = Touch(rng, float(rng.uniform(0, 1)), hold, shaky=True)
        contacts.append((now, contact))
        now += hold + float(rng.uniform(0.5, 2.0))
    return sum(move.what == "taken" for _, move in stream(contacts, front, seconds))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    print(f"steady touches ({count} each), meter prints every ... s:")
    for name in ("handheld-3half", "handheld-4half", "bench-four-wire"):
        instrument = load_instrument(name)
        for interval_s in (0.1, 0.25, 0.4):
            score = steady_score(instrument, count, seed=1, interval_s=interval_s)
            share = 100.0 * score.once_and_right / score.touches
            print(
                f"  {name:16} {interval_s:4} s: {share:7.3f} % taken once and right"
                f" (never {score.never}, twice {score.twice}, wrong {score.wrong});"
                f" median time {score.latency_ratio:.2f} x the settling required"
            )
    print("readings taken in 1,000 s of")
    for kind in ("open", "brushing", "fingers", "shaky"):
        taken = [false_takes(load_instrument("handheld-3half"), kind, 1000.0, seed) for seed in range(5)]
        print(f"  {kind:9}: {taken}")


if __name__ == "__main__":
    main()
