"""The short names of things: kinds of fault, answers, and the tone that each is shown in.

A kind of fault has a word and a sign for a terminal here, and a shape in `evidence/pictures/look.py`.
"""

from __future__ import annotations

from loomtest.diagnosis.verdict import Fault, Outcome, Row

OUTCOME_TONE: dict[Outcome, str] = {"pass": "good", "fail": "bad", "not-proven": "doubt"}
ROW_TONE: dict[Row, str] = {"pass": "good", "fail": "bad", "undecided": "doubt", "untested": "doubt"}
ROW_WORD: dict[Row, str] = {
    "pass": "as it should be",
    "fail": "at fault",
    "undecided": "doubtful",
    "untested": "not measured",
}

NET_WORD: dict[Row, str] = {**ROW_WORD, "untested": "not all measured"}

FAULT_WORD: dict[Fault, str] = {
    "open": "open",
    "short": "short",
    "crossed": "crossed",
    "misplaced": "wrong cavity",
    "high-resistance": "poor joint",
    "leakage": "leakage",
    "intermittent": "comes and goes",
    "wrong-part": "wrong part",
}

FAULT_SIGN: dict[Fault, str] = {
    "open": "-  -",
    "short": "-**-",
    "crossed": "-><-",
    "misplaced": "-->|",
    "high-resistance": "-)(-",
    "leakage": "-..-",
    "intermittent": "-~~-",
    "wrong-part": "-<>-",
}
