"""Units and colours of an exchange file."""

from __future__ import annotations

import pytest

from loomtest.harness.exchange.tree import Element
from loomtest.harness.exchange.values import Unit, colour_cell, unit_of


def element(tag: str, **texts: str) -> Element:
    made = Element(tag, {}, 1)
    made.children = []
    for name, text in texts.items():
        child = Element(name, {}, 1)
        child.text = text
        made.children.append(child)
    return made


@pytest.mark.parametrize(
    ("texts", "factor", "dimension"),
    [
        ({"Si_unit_name": "metre", "Si_prefix": "milli"}, 1e-3, 1),
        ({"Si_unit_name": "METRE"}, 1.0, 1),
        ({"Si_unit_name": "square metre", "Si_prefix": "milli"}, 1e-6, 2),
        ({"Si_unit_name": "metre", "Si_prefix": "milli", "Si_dimension": "square"}, 1e-6, 2),
        ({"Unit_name": "mm2"}, 1e-6, 2),
        ({"Si_unit_name": "gram", "Si_prefix": "kilo"}, 0.0, 0),
        ({"Si_unit_name": "metre", "Si_prefix": "huge"}, 0.0, 0),
        ({}, 0.0, 0),
    ],
)
def test_units_are_put_together_from_their_parts(
    texts: dict[str, str], factor: float, dimension: int
) -> None:
    unit = unit_of(element("Unit", **texts))
    assert (unit.factor, unit.dimension) == (pytest.approx(factor), dimension)
    assert isinstance(unit, Unit)


@pytest.mark.parametrize(
    ("colours", "cell", "odd"),
    [
        ([("Grundfarbe", "sw")], "BK", ""),
        ([("Kennfarbe", "rs"), ("Grundfarbe", "ws")], "WH/PK", ""),
        ([("", "SW/GE")], "BK/YE", ""),
        ([("Base colour", "brli")], "BN/VT", ""),
        ([("", "Grün")], "GN", ""),
        ([("", "red-white")], "RD/WH", ""),
        ([("", "BKRD")], "BK/RD", ""),
        ([("", "/NULL")], "", ""),
        ([("", "RAL 9005")], "", "RAL 9005"),
    ],
)
def test_colours_of_either_language(colours: list[tuple[str, str]], cell: str, odd: str) -> None:
    elements = [element("Cover_colour", Colour_type=kind, Colour_value=text) for kind, text in colours]
    assert colour_cell(elements) == (cell, odd)
