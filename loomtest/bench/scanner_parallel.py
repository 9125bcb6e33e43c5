"""The parallel test: a whole harness proven joined and apart by driving many pins at once.

A harness of q nets with at most p pins each takes p − 1 + ⌈log2 q⌉ tests (W. H. Kautz, "Testing for faults in
wiring networks", IEEE Trans. Comput. C-23(4), 1974): p − 1 in which the k-th pin of every net is fed and its
next must follow, and ⌈log2 q⌉ in which the nets whose number has bit b set are driven against all others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomtest.bench.scanner import Scanner
from loomtest.bench.scanner_sockets import Sockets
from loomtest.harness.model import Harness
from loomtest.readings.model import Quantity
from loomtest.readings.run import Reading

APART_PROVES_OHM = 1e6


@dataclass(frozen=True, slots=True)
class Follow:
    """Every pin fed, and the pin that must follow it; other pins must stay where they are."""

    links: tuple[tuple[int, int], ...]

    @property
    def high(self) -> frozenset[int]:
        """The pins fed."""
        return frozenset(start for start, _ in self.links)


@dataclass(frozen=True, slots=True)
class Part:
    """One set of nets against all others."""

    high: frozenset[int]
    low: frozenset[int]


@dataclass(frozen=True, slots=True)
class Result:
    """One test done: `wrong` holds pairs of pins that are not as they should be; empty: passed."""

    number: int
    total: int
    passed: bool
    wrong: tuple[tuple[int, int], ...]
    readings: tuple[Reading, ...]


def nets_of(harness: Harness, sockets: Sockets) -> tuple[tuple[int, ...], ...]:
    """The pins of every net that has one, in the order of the harness."""
    nets = []
    for net in harness.nets:
        pins = [sockets.pin_of(harness.points[code]) for code in net.points]
        found = tuple(pin for pin in pins if pin is not None)
        if found:
            nets.append(found)
    return tuple(nets)


def parallel_tests(nets: Sequence[Sequence[int]]) -> tuple[Follow | Part, ...]:
    """The tests of a harness: exactly p − 1 + ⌈log2 q⌉ of them."""
    longest = max((len(net) for net in nets), default=1)
    follow = [Follow(tuple((net[k - 1], net[k]) for net in nets if len(net) > k)) for k in range(1, longest)]
    everything = frozenset(pin for net in nets for pin in net)
    parts = []
    for bit in range(max(len(nets) - 1, 0).bit_length()):
        high = frozenset(pin for number, net in enumerate(nets) if number >> bit & 1 for pin in net)
        parts.append(Part(high, everything - high))
    return (*follow, *parts)


def run_parallel(scanner: Scanner, harness: Harness, sockets: Sockets) -> Iterator[Result]:
    """Does every test in turn, with the readings that it proves.

    A failed partition says only that something joins the two sets: the full scan says what.
    """
    nets = nets_of(harness, sockets)
    tests = parallel_tests(nets)
    net_of = {pin: number for number, net in enumerate(nets) for pin in net}
    for number, test in enumerate(tests, 1):
        if isinstance(test, Follow):
            yield _follow(scanner, test, sockets, net_of, (number, len(tests)))
        else:
            yield _part(scanner, test, sockets, (number, len(tests)))


def _follow(
    scanner: Scanner, test: Follow, sockets: Sockets, net_of: dict[int, int], place: tuple[int, int]
) -> Result:
    reached = scanner.reach(test.high)
    fed = {net_of[start]: start for start, _ in test.links}
    wrong = [(start, end) for start, end in test.links if end not in reached]
    strays = [pin for pin in reached if pin in net_of and net_of[pin] not in fed]
    wrong += [(pin, pin) for pin in strays]
    readings = tuple(
        Reading(
            sockets.by_pin[start].point,
            sockets.by_pin[end].point,
            "yes" if end in reached else "no",
            Quantity.CONTINUITY,
            note="parallel test",
        )
        for start, end in test.links
    )
    return Result(*place, not wrong, tuple(wrong), readings)


def _part(scanner: Scanner, test: Part, sockets: Sockets, place: tuple[int, int]) -> Result:
    apart = scanner.apart(test.high)
    high, low = sorted(test.high), sorted(test.low)
    if not apart or not high or not low:
        return Result(*place, apart, () if apart else ((high[0], low[0]),), ())
    points = [[sockets.by_pin[pin].point for pin in pins] for pins in (high, low)]
    reading = Reading(
        points[0][0],
        points[1][0],
        f">{APART_PROVES_OHM:.0f}",
        Quantity.RESISTANCE_4W,
        bonded_start=tuple(points[0][1:]),
        bonded_end=tuple(points[1][1:]),
        note="parallel test",
    )
    return Result(*place, True, (), (reading,))
