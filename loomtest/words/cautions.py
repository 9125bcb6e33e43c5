"""The usual cautions where the work can hurt someone; they defer to the vehicle's manual and the law.

Sources: 29 CFR 1926.441 and FAA AC 43.13-1B ch. 11 (batteries: negative off first, on last; hydrogen);
restraint-system service manuals of several makers (no meter on an igniter or its circuit); IEC 61557-1
(electronic devices disconnected before insulation tests; value from memory); UN ECE R100 (60 V d.c.,
30 V a.c.; value from memory). The others are common practice.
"""

from __future__ import annotations

from collections.abc import Sequence

from loomtest.words.lines import all_of
from loomtest.words.numbers import counted

CAUTIONS = (
    "The vehicle's own manual, local codes and licensed practice come before anything said here.",
    "Battery disconnected while you measure: negative off first, on last. Its gas explodes: no sparks near "
    "it, and eye protection on.",
    "Airbags, belt tensioners and their wiring: never put a meter, a test lamp or any current on them. A "
    "meter can fire them. Leave them to the maker's procedure.",
    "Control units unplugged before every resistance or insulation test of the wires that lead to them.",
    "Orange cables, and anything above 60 V d.c. or 30 V a.c.: not with this tool, and only by people "
    "licensed for it.",
    "Fuel and fire: no open tank or line, no vapour, where a wire may spark; an extinguisher within reach "
    "when the power first comes on.",
    "First power through a fuse of the rating that the manual gives, at the battery, with someone at the "
    "disconnector. Never bridge a fuse or fit a larger one.",
    "Lights, brakes and steering aids are checked for function before the road, and inspected where the law "
    "asks for it.",
)

NEVER_A_METER = "Never put a meter on it: a meter can fire an airbag or a belt tensioner."


def restraint_sentence(wires: int) -> list[str]:
    """How many wires of restraint systems were left alone; nothing where there are none."""
    if not wires:
        return []
    return [
        f"{counted(wires, 'wire')} of a restraint system: never measured, and nothing is said about them."
    ]


def never_measured(names: Sequence[str]) -> str:
    """Wires of a restraint system are said, with the reason why nobody asks for them."""
    wires = f"wire {names[0]} belongs" if len(names) == 1 else f"wires {all_of(list(names))} belong"
    return f"Never measured: {wires} to a restraint system. " + NEVER_A_METER
