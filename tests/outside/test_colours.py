"""Colours against IEC 60757 (2021 edition, table 1, and 5.1), read in secondary copies that agree."""

from __future__ import annotations

import pytest

from loomtest.harness.colours import IEC_60757, colour_code, colour_parts

TABLE_1 = """
BK black
BN brown
RD red
OG orange
YE yellow
GN green
BU blue
VT violet
GY grey
WH white
PK pink
GD gold
TQ turquoise
SR silver
"""
PAIRS = [tuple(line.split()) for line in TABLE_1.strip().splitlines()]


def test_the_whole_table_in_its_order_and_nothing_more() -> None:
    assert list(IEC_60757.items()) == PAIRS


@pytest.mark.parametrize(("code", "word"), PAIRS)
def test_code_and_word_are_one_colour(code: str, word: str) -> None:
    """Lower case is allowed with the same meaning (1983 text)."""
    assert colour_parts(code) == colour_parts(code.lower()) == colour_parts(word) == (code,)


def test_combined_colours() -> None:
    """5.1: red and blue is RDBU; green-and-yellow is GNYE. RD+BU for different colours: value from memory."""
    assert colour_parts("RDBU") == ("RD", "BU")
    assert colour_parts("GNYE") == ("GN", "YE") == colour_parts("green-and-yellow")
    assert colour_code("RD+BU") == "RDBU"


def test_letters_of_no_colour() -> None:
    letters = [a + b for a in "ABDGKNORSVWY" for b in "ABDGKNORSVWY"]
    codes = {code for code, _ in PAIRS}
    wrong = [pair for pair in letters if pair not in codes]
    assert len(wrong) > 100
    for pair in wrong:
        with pytest.raises(ValueError, match="IEC 60757"):
            colour_parts(pair)
