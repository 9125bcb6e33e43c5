"""What a wiggle test says."""

from __future__ import annotations

import math
from typing import Any

from loomtest.diagnosis.flexing import Flexing
from loomtest.words.numbers import counted, ohms, percent, seconds


def flex_text(flexing: Flexing) -> str:
    """One sentence: what happened, or how rare it must be."""
    lasted = seconds(flexing.observed_s)
    if flexing.verdict == "intermittent":
        return f"It comes and goes: {_what_happened(flexing)} in {lasted}"
    rate = f"fewer than {flexing.rate_limit_per_min:.2g} a minute at {percent(flexing.confidence)}"
    if flexing.verdict == "no event":
        return f"Steady: nothing happened in {lasted} ({rate})"
    return f"Nothing happened, but {lasted} is too short to say: only {rate}"


def flex_json(flexing: Flexing) -> dict[str, Any]:
    """The object that `loomtest wiggle --json` prints."""
    facts = flexing.to_json()
    return {
        "schema": facts.pop("schema"),
        "verdict": facts.pop("verdict"),
        "text": flex_text(flexing),
        **facts,
    }


def _what_happened(flexing: Flexing) -> str:
    parts = []
    if flexing.events:
        worst = max(event.depth_ohm for event in flexing.events)
        depth = "the contact opened" if math.isinf(worst) else f"up to {ohms(worst)} off"
        parts.append(f"{counted(len(flexing.events), 'event')} ({depth})")
    if jumps := [shift for shift in flexing.shifts if shift.kind == "jump"]:
        worst = max((shift.size_ohm for shift in jumps), key=abs)
        way = "up" if worst > 0 else "down"
        parts.append(f"{counted(len(jumps), 'jump')} to another level (by {ohms(abs(worst))} {way})")
    return " and ".join(parts)
