"""Where a wire's end was before a connector change: the columns `was_from` and `was_to` of the wire list."""

from __future__ import annotations

from loomtest.harness.model import Harness, Wire

BEFORE_FOLDER = "before_change"
WAS = {"from": "was_from", "to": "was_to"}


def was_at(wire: Wire, column: str) -> str:
    """The point that the wire's end (`from` or `to`) had before; "" where it was not moved."""
    return next((cell for name, cell in wire.extra if name.casefold() == WAS[column]), "")


def former_points(harness: Harness) -> dict[str, tuple[str, ...]]:
    """Each point that came out of a connector change, with the point or points that it was before."""
    found: dict[str, dict[str, None]] = {}
    for wire in harness.wires:
        for column, point in (("from", wire.start), ("to", wire.end)):
            before = was_at(wire, column)
            if before:
                found.setdefault(point, {})[before] = None
    return {point: tuple(before) for point, before in found.items()}


def present_points(harness: Harness) -> dict[str, str]:
    """Each former point with the point that it is now; one whose wires went two ways is left out.

    So a point of the harness before the change is followed across it: `present.get(point, point)`.
    """
    found: dict[str, set[str]] = {}
    for point, before in former_points(harness).items():
        for old in before:
            found.setdefault(old, set()).add(point)
    return {old: min(new) for old, new in found.items() if len(new) == 1}


def harness_before(harness: Harness) -> Harness | None:
    """The harness as it was before its connector change, from the copy in its folder; None without one."""
    if harness.source is None or not former_points(harness):
        return None
    folder = (harness.source if harness.source.is_dir() else harness.source.parent) / BEFORE_FOLDER
    if not folder.is_dir():
        return None
    from loomtest.harness.load import load_harness

    return load_harness(folder)
