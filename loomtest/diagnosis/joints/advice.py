"""What to do where an ordinary meter cannot tell: touch again, open a ring, light a lamp."""

from __future__ import annotations

from loomtest.diagnosis.why import MeasureDrop, OpenRing
from loomtest.harness.model import Wire
from loomtest.harness.survey import is_ground


def open_ring(wire: Wire) -> OpenRing:
    """What to do where another way round hides a wire: a ground is the end that comes off easily."""
    free = next((p for p in (wire.end, wire.start) if is_ground(p)), wire.end)
    return OpenRing(wire.name, free, wire.start if free == wire.end else wire.end)


def measure_drop(wire: Wire, amps: float) -> MeasureDrop:
    """The volts lost under the circuit's own load, which any meter shows; a ground stands last."""
    ground = next((p for p in (wire.end, wire.start) if is_ground(p)), None)
    if ground is None:
        return MeasureDrop(wire.start, wire.end, amps, False)
    return MeasureDrop(wire.start if ground == wire.end else wire.end, ground, amps, True)
