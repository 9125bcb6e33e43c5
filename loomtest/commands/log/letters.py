"""Large letters for reading a prompt from across the bench: five by seven dots, drawn in half blocks."""

from __future__ import annotations

# Seven rows of five dots each, written as two hexadecimal digits a row, top row first.
_DOTS = {
    "A": "0e11111f111111", "B": "1e11111e11111e", "C": "0e11101010110e", "D": "1c12111111121c",
    "E": "1f10101e10101f", "F": "1f10101e101010", "G": "0e11101713110f", "H": "1111111f111111",
    "I": "0e04040404040e", "J": "0702020202120c", "K": "11121418141211", "L": "1010101010101f",
    "M": "111b1515111111", "N": "11191513111111", "O": "0e11111111110e", "P": "1e11111e101010",
    "Q": "0e11111115120d", "R": "1e11111e141211", "S": "0f10100e01011e", "T": "1f040404040404",
    "U": "1111111111110e", "V": "11111111110a04", "W": "1111111515150a", "X": "11110a040a1111",
    "Y": "1111110a040404", "Z": "1f01020408101f", "0": "0e11131519110e", "1": "040c040404040e",
    "2": "0e11010204081f", "3": "1f02040201110e", "4": "02060a121f0202", "5": "1f101e0101110e",
    "6": "0608101e11110e", "7": "1f010204080808", "8": "0e11110e11110e", "9": "0e11110f01020c",
    "+": "0004041f040400", "-": "0000001f000000", "_": "0000000000001f", ".": "00000000000606",
    ":": "00060600060600", "/": "01010204081010", " ": "00000000000000",
}  # fmt: skip
_HALVES = {(0, 0): " ", (1, 0): "▀", (0, 1): "▄", (1, 1): "█"}


def large(text: str, width: int, scale: int = 1) -> list[str] | None:
    """The text in letters of four rows (seven, twice as wide, at scale 2); None where it does not fit.

    Small letters are drawn as capitals; a character without a drawing makes it None too.
    """
    letters = text.upper()
    if any(letter not in _DOTS for letter in letters) or (len(letters) * 6 - 1) * scale > width:
        return None
    rows = ["".join(_row(letter, index) + "0" for letter in letters) for index in range(7)]
    if scale == 2:
        return [row.replace("0", "  ").replace("1", "██").rstrip() for row in rows]
    rows.append("0" * len(rows[0]))
    return [
        "".join(_HALVES[int(a), int(b)] for a, b in zip(top, bottom, strict=True)).rstrip()
        for top, bottom in zip(rows[::2], rows[1::2], strict=True)
    ]


def _row(letter: str, index: int) -> str:
    return f"{int(_DOTS[letter][2 * index : 2 * index + 2], 16):05b}"
