"""A reading that the loom as found does not give, in words."""

from __future__ import annotations

import math
from dataclasses import replace

from loomtest.diagnosis.verdict import Doubted
from loomtest.readings.marked import COMMON
from loomtest.words.numbers import ohms


def told(doubt: Doubted) -> Doubted:
    """The same with its value, what was expected and the reason in words."""
    value, expected = _value(doubt), _expected(doubt)
    return replace(doubt, value=value, expected=expected, why=_why(doubt))


def sentence_of(doubt: Doubted) -> str:
    """One line for a screen: which reading, what it says, and why it is doubted."""
    return f"Line {doubt.row}, {doubt.start} to {doubt.end}, {doubt.value}: {doubt.why}"


def _value(doubt: Doubted) -> str:
    if doubt.quantity == "continuity":
        return "yes" if doubt.reading > 0.5 else "no"
    if math.isinf(doubt.reading):
        return "OL"
    unit = " V" if doubt.quantity in ("diode", "voltage_drop") else ""
    return f"{doubt.reading:.6g}{unit}"


def _expected(doubt: Doubted) -> str:
    if doubt.kind == "joined":
        return "yes" if doubt.quantity == "continuity" else "joined"
    if doubt.kind == "apart":
        return "no" if doubt.quantity == "continuity" else "OL"
    if doubt.kind == "value":
        return f"{doubt.least_ohms:.3g}"
    return f"{ohms(doubt.least_ohms)} to {ohms(doubt.most_ohms)}"


def _why(doubt: Doubted) -> str:
    if doubt.end == COMMON:
        return _why_touched(doubt)
    if doubt.kind == "joined":
        return "the other readings show these two points joined. Touch both again."
    if doubt.kind == "apart":
        return "nothing that was found joins these two points. Touch both again."
    if doubt.kind == "value":
        return f"the other readings give about {ohms(doubt.least_ohms)} here. Touch both again."
    return f"the parts between these two points give {_expected(doubt)}. Touch both again."


def _why_touched(doubt: Doubted) -> str:
    if doubt.kind == "joined":
        return "the other touches show this point joined to a clip. Touch it again."
    if doubt.kind == "apart":
        return "nothing that was found joins this point to a clip. Touch it again, hands off the metal."
    return f"the other touches give about {ohms(doubt.least_ohms)} here. Touch it again, hands off the metal."
