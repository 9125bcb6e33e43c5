"""What to do where an ordinary meter cannot tell: touch again, open a ring, light a lamp."""

from __future__ import annotations

from loomtest.harness.model import Harness, Wire
from loomtest.harness.survey import is_ground


def again_text(harness: Harness, wire: Wire) -> str:
    """What to do where one touch alone shows a joint."""
    ends = [p for p in (wire.start, wire.end) if p not in harness.unreachable]
    where = " to ".join(ends) if len(ends) == 2 else f"a pair of points with {wire.name} between them"
    return f"touch {where} again: one touch alone may be a probe that sat badly, two that agree decide"


def ring_text(harness: Harness, wire: Wire) -> str:
    """What to do where another way round hides a wire."""
    free = next((p for p in (wire.end, wire.start) if is_ground(p)), wire.end)
    other = wire.start if free == wire.end else wire.end
    return (
        f"unscrew or unplug the {free} end of {wire.name}, then measure {other} to that end: another way "
        "round joins its ends, and beside it these readings cannot tell the wire"
    )


def drop_text(harness: Harness, wire: Wire) -> str:
    """The volts lost under the circuit's own load, which any meter shows, with what keeps it safe."""
    load = (
        f"measure the volts lost: with the circuit's own load of {wire.amps:g} A on, a fuse that fits "
        "the thinnest wire before it, for ten seconds at most"
    )
    ground = next((p for p in (wire.end, wire.start) if is_ground(p)), None)
    if ground is None:
        return f"{load}, one lead on {wire.start}, the other on {wire.end}: under half a volt"
    other = wire.start if ground == wire.end else wire.end
    return f"{load}, black lead on battery minus, red on {other}: under a tenth of a volt"
