"""Cells that name an end of a wire as people write it: `X4/3`, `light switch 2`, `X2 4 and GND1`."""

from __future__ import annotations

import re

from loomtest.harness.groups import BARE_PIN, pin_of
from loomtest.harness.notes.mentions import mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.tokens import tokens_of
from loomtest.harness.points import FORMULA_SIGNS, LONGEST_NAME, made_by_a_spreadsheet

# What stands in a cell for a pin without a wire (common practice).
NOWHERE = {"nc", "n/c", "n.c.", "-", "–", "—", "--", "empty", "unused", "spare", "blank", "none", "not used"}
NOWHERE |= {"no wire", "leer", "frei", "vide", "libre"}
_SEVERAL = re.compile(r"\s*(?:[,;\n&]|\band\b|\bund\b|\bet\b)\s*")


def joined(connector: str, pin: str) -> str:
    """The point at a connector's pin. What a spreadsheet made of a pin stays alone, to be refused as such."""
    name, pin = re.sub(r"\s+", "_", connector.strip()).strip(":"), pin_of(pin)
    if made_by_a_spreadsheet(pin):
        return pin
    if not name or not pin:
        return name or pin
    if pin.casefold().startswith(name.casefold() + ":"):
        return pin
    pin = re.sub(r"^(?:pin|cav|cavity|way|terminal)[\s.:]*(?=\w)", "", pin, flags=re.IGNORECASE)
    if pin in ("+", "-") and name.casefold().rpartition("_")[2] in ("battery", "batt"):
        return name + pin  # a clamp is one point, however it is written
    cavity = re.sub(r"[\s:]+", "_", pin)
    return f"{name}:{cavity}"


def targets(cell: str) -> list[str]:
    """The points that a cell names: one, or several with a comma or an `and` between them."""
    pieces = [piece for piece in _SEVERAL.split(cell.strip()) if piece]
    if len(pieces) < 2 or (
        len(pieces) == 2 and BARE_PIN.fullmatch(pieces[1]) and ":" not in point_of(pieces[0])
    ):
        return [point_of(cell)]  # `X4, 3` is pin 3 of X4
    found: list[str] = []
    for piece in pieces:
        if found and ":" in found[-1] and BARE_PIN.fullmatch(pin_of(piece)):
            found.append(joined(found[-1].partition(":")[0], piece))
        else:
            found.append(point_of(piece))
    return found


def point_of(text: str) -> str:
    """A cell that names a point as people write it: `X4 3`, `light switch 2`, `X4/3`."""
    text = re.sub(r"\s*\((\w{1,4})\)$", r" \1", text.strip())
    if not re.search(r"\s|[/.-]\d", text) or ":" in text or len(text) > LONGEST_NAME:
        return re.sub(r"\s*:\s*", ":", text)
    if made_by_a_spreadsheet(text) or text[0] in FORMULA_SIGNS.replace("+", "").replace("-", ""):
        return text  # refused with its own message
    mention = mention_of(tokens_of(text))
    return Names().point(mention) if mention is not None and mention.words else re.sub(r"\s+", "_", text)
