"""The project's own looks: one palette and one set of marks for the terminal, pictures, plots and pages.

Blue-green, ochre and wine red keep apart for the common kinds of colour blindness (a test computes it), and
no colour stands without a shape and a word.
"""

from __future__ import annotations

from dataclasses import dataclass

from loomtest.diagnosis.verdict import Fault

LIGHT = {
    "paper": "#fbfaf6",
    "card": "#ffffff",
    "ink": "#20292e",
    "soft": "#5b666b",
    "line": "#d5d2c8",
    "sleeve": "#c9c5b8",
    "body": "#efece3",
    "bad": "#8c1a2c",
    "doubt": "#8a6000",
    "good": "#0f6675",
    "mark": "#ffffff",
}
DARK = {
    "paper": "#161b1e",
    "card": "#1e2529",
    "ink": "#ece8de",
    "soft": "#a9b2b3",
    "line": "#3a4448",
    "sleeve": "#4d575a",
    "body": "#2a3237",
    "bad": "#ff8173",
    "doubt": "#ffd966",
    "good": "#6fc3e0",
    "mark": "#161b1e",
}


@dataclass(frozen=True)
class Mark:
    """The shape of a fault: closed outlines in a square from -1 to 1, y down."""

    outlines: tuple[tuple[tuple[float, float], ...], ...]


_BAR = 0.32
MARKS: dict[Fault, Mark] = {
    # two blunt ends with a gap between them
    "open": Mark(
        (
            ((-1, -0.55), (-0.3, -0.55), (-0.3, 0.55), (-1, 0.55)),
            ((1, -0.55), (0.3, -0.55), (0.3, 0.55), (1, 0.55)),
        ),
    ),
    # a solid star: where metal touches metal
    "short": Mark(
        (
            (
                (0, -1),
                (0.3, -0.42),
                (0.95, -0.31),
                (0.48, 0.16),
                (0.59, 0.81),
                (0, 0.5),
                (-0.59, 0.81),
                (-0.48, 0.16),
                (-0.95, -0.31),
                (-0.3, -0.42),
            ),
        ),
    ),
    "crossed": Mark(
        (
            (
                (-1, -0.62),
                (-0.62, -1),
                (0, -0.38),
                (0.62, -1),
                (1, -0.62),
                (0.38, 0),
                (1, 0.62),
                (0.62, 1),
                (0, 0.38),
                (-0.62, 1),
                (-1, 0.62),
                (-0.38, 0),
            ),
        ),
    ),
    # an arrow out of its place
    "misplaced": Mark(
        (((-1, -_BAR), (0.1, -_BAR), (0.1, -0.8), (1, 0), (0.1, 0.8), (0.1, _BAR), (-1, _BAR)),)
    ),
    # a waist: what squeezes the current
    "high-resistance": Mark((((-1, -0.85), (0, -0.18), (1, -0.85), (1, 0.85), (0, 0.18), (-1, 0.85)),)),
    # a drop
    "leakage": Mark(
        (
            (
                (0, -1),
                (0.5, -0.15),
                (0.62, 0.3),
                (0.42, 0.78),
                (0, 1),
                (-0.42, 0.78),
                (-0.62, 0.3),
                (-0.5, -0.15),
            ),
        ),
    ),
    # a broken wave
    "intermittent": Mark(
        (
            (
                (-1, 0.1),
                (-0.45, -0.75),
                (0.2, 0.25),
                (0.6, -0.35),
                (1, 0.1),
                (1, 0.6),
                (0.6, 0.2),
                (0.2, 0.85),
                (-0.45, -0.15),
                (-1, 0.7),
            ),
        ),
    ),
    # a tile set on its corner
    "wrong-part": Mark((((0, -1), (1, 0), (0, 1), (-1, 0)),)),
}

# Insulation colours for pictures, by IEC 60757 code: muted so that faults stand out.
WIRE_COLOURS = {
    "BK": "#2b2b2b",
    "BN": "#7a4a2a",
    "RD": "#c23b33",
    "OG": "#e08a2e",
    "YE": "#e6cf4a",
    "GN": "#4f8f4f",
    "BU": "#3f6fb5",
    "VT": "#7d5aa6",
    "GY": "#8c8f91",
    "WH": "#f4f2ec",
    "PK": "#e3a1b3",
    "GD": "#b89a4a",
    "TQ": "#4fb0ac",
    "SR": "#bfc3c6",
}
