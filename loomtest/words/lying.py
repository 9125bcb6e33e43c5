"""What stands on the picture of a loom that is drawn as it lies."""

from __future__ import annotations

from loomtest.diagnosis.verdict import WirePlace
from loomtest.harness.model import connector_of
from loomtest.words.numbers import counted
from loomtest.words.places import name_text


def lying_text(*, drawn: int, aside: int, faults: str, flattened: bool) -> str:
    """The picture in words, for those who hear it."""
    how = "seen flat, from coordinates" if flattened else "laid out flat, lengths to scale"
    text = f"{counted(drawn, 'connector or terminal', 'connectors and terminals')} on the branches, {how}."
    text += f" {aside} that no branch leads to stand below." if aside else ""
    return f"{text} Faults: {faults}."


def scale_text(metres: float) -> str:
    """What stands at the scale bar."""
    return f"{metres:g} m" if metres >= 1 else f"{metres * 100:g} cm"


def mark_text(number: int, place: WirePlace, inches: bool) -> str:
    """At the place of a fault along its wire: which fault, and how far from the wire's end."""
    if place.metres is None:
        return str(number)
    far = f"{place.metres / 0.0254:.0f} in" if inches else f"{place.metres * 100:.0f} cm"
    return f"{number}: {far} from {name_text(connector_of(place.start) or place.start)}"


def untrue_text(untrue: int, closing: int) -> str:
    """Which branches are not drawn to scale; "" where all are."""
    told = []
    if untrue:
        told.append(f"{counted(untrue, 'branch', 'branches')} without a length: drawn as long as most")
    if closing:
        told.append(f"{counted(closing, 'branch', 'branches')} closing a ring: not to scale")
    return "; ".join(told)


def aside_text() -> str:
    """Above the connectors that no branch leads to."""
    return "No branch leads here:"
