"""The parallel test: a whole harness proven joined and apart by driving many pins at once.

Which tests, and how many, is the plan's business (`plan_isolation.scanner_tests`: p − 1 + ⌈log2 q⌉, Kautz
1974); here they are done. In the first p − 1 one pin of every net is fed and one more of each must follow; in
the others whole nets are driven against all the rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from loomtest.bench.plan.isolation import scanner_tests
from loomtest.bench.scanner.driver import Scanner
from loomtest.bench.scanner.sockets import Sockets
from loomtest.diagnosis.seen.isolation import part_groups
from loomtest.harness.model import Harness, IntArray
from loomtest.readings.model import Quantity
from loomtest.readings.run import Reading

APART_PROVES_OHM = 1.2e6  # the firmware says "apart" from 1.4 MΩ up


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
    pin_of = {socket.point: socket.pin for socket in sockets.rows}
    nets = [tuple(pin_of[p] for p in _names(harness, net.points) if p in pin_of) for net in harness.nets]
    return tuple(net for net in nets if net)


def _names(harness: Harness, codes: Iterable[int]) -> list[str]:
    return [harness.points[code] for code in codes]


def run_parallel(scanner: Scanner, harness: Harness, sockets: Sockets) -> Iterator[Result]:
    """Does every test in turn, with the readings that it proves.

    A failed partition says only that something joins the two sets: the full scan says what.
    """
    tests = scanner_tests(harness)
    group = part_groups(harness)
    at = {socket.point: socket.pin for socket in sockets.rows}
    for number, test in enumerate(tests, 1):
        place = (number, len(tests))
        if test.what == "continuity":
            ends = zip(_names(harness, test.drive), _names(harness, test.sense), strict=True)
            links = [(at[a], at[b]) for a, b in ends if a in at and b in at]
            yield _follow(scanner, links, harness, sockets, group, place)
        else:
            nets = {int(harness.net_of[code]) for code in test.drive}
            yield _part(scanner, _sides(harness, at, nets), sockets, place)


def _sides(harness: Harness, at: Mapping[str, int], driven: set[int]) -> tuple[list[int], list[int]]:
    """(pins of the driven nets, pins of all others)."""
    high = [at[p] for code, p in enumerate(harness.points) if p in at and int(harness.net_of[code]) in driven]
    return high, sorted(set(at.values()) - set(high))


def _follow(
    scanner: Scanner,
    links: Sequence[tuple[int, int]],
    harness: Harness,
    sockets: Sockets,
    group: IntArray,
    place: tuple[int, int],
) -> Result:
    reached = scanner.reach({start for start, _ in links})

    def group_at(pin: int) -> int:
        return int(group[harness.net_of[harness.code_of[sockets.by_pin[pin].point]]])

    fed = {group_at(start) for start, _ in links}
    wrong = [(start, end) for start, end in links if end not in reached]
    # What follows without a part or a wire to a fed net: joined to one by mistake.
    wrong += [(pin, pin) for pin in sorted(reached) if pin in sockets.by_pin and group_at(pin) not in fed]
    readings = tuple(
        Reading(
            sockets.by_pin[start].point,
            sockets.by_pin[end].point,
            "yes" if end in reached else "no",
            Quantity.CONTINUITY,
            note="parallel test",
        )
        for start, end in links
    )
    return Result(*place, not wrong, tuple(wrong), readings)


def _part(
    scanner: Scanner, sides: tuple[list[int], list[int]], sockets: Sockets, place: tuple[int, int]
) -> Result:
    high, low = sides
    if not high or not low:
        return Result(*place, True, (), ())
    if not scanner.apart(high):
        return Result(*place, False, ((high[0], low[0]),), ())
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
