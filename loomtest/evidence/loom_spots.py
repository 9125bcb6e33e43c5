"""Where everything of a loom's picture stands: hubs in rows along the trunk, the tags of faults on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.drawing import XY
from loomtest.evidence.faces import Cell, cells_of
from loomtest.evidence.layout import Board
from loomtest.evidence.look import FAULT_WORD
from loomtest.harness.model import Harness, connector_of

WIDTH = 1040.0
EDGE = 34.0
CELL = 25.0
BRANCH = 46.0
TAG = 24.0
GAP = 20.0


@dataclass(frozen=True)
class Tag:
    """A fault to mark: its number in the list of findings, how it is painted, where it sits."""

    number: int
    finding: Finding
    tone: str  # "bad" for a finding, "doubt" for what is undecided
    hub: str

    @property
    def words(self) -> str:
        """The text on the tag."""
        return f"{self.number} {FAULT_WORD[self.finding.fault]}"

    @property
    def width(self) -> float:
        """Pixels that the tag needs."""
        return text_width(self.words, 12.5) + 38


@dataclass
class Spot:
    """A hub in its place: `x` on the trunk of board row `row`, above (`up`) or below it."""

    hub: str
    cells: tuple[Cell, ...]
    tags: tuple[Tag, ...]
    place: str
    splice: bool
    x: float = 0.0
    row: int = 0
    up: bool = True
    width: float = 0.0

    @property
    def face(self) -> XY:
        """Width and height of the connector's face, or of the symbol of a single terminal."""
        if not self.cells:
            return (30.0, 30.0)
        columns = max(cell.column for cell in self.cells) + 1
        rows = max(cell.row for cell in self.cells) + 1
        return (columns * CELL + 12, rows * CELL + 12)

    @property
    def branch(self) -> float:
        """Pixels from the trunk to the face."""
        return max(BRANCH, 22 + TAG * len(self.tags) + (8 if self.tags else 0))

    @property
    def reach(self) -> float:
        """Pixels from the trunk to the far end of the words."""
        return self.branch + self.face[1] + 28 + 14 * len(wrapped(self.place, self.width))


def wrapped(text: str, width: float, size: float = 11.0, most: int = 3) -> list[str]:
    """`text` in lines of at most `width` pixels; what does not fit in `most` lines ends in an ellipsis."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " …"]
    return lines


def text_width(text: str, size: float) -> float:
    """Pixels that `text` takes at `size`, near enough for every usual typeface."""
    return 0.57 * size * len(text)


def home_of(finding: Finding, harness: Harness, board: Board) -> str:
    """The hub where a finding is marked: the end to blame, else its first point; "" off the board."""
    ends = [suspect.end for suspect in finding.suspects[:1] if suspect.end]
    wires = [w for s in finding.suspects[:1] for w in harness.wires if w.name == s.wire]
    candidates = [*ends, *finding.points, *(wire.start for wire in wires)]
    hubs = [connector_of(point) or point for point in candidates]
    return next((hub for hub in hubs if hub in board.hubs), "")


def spot_of(harness: Harness, hub: str, tags: Sequence[Tag]) -> Spot:
    """The hub with its cavities, tags and the room it needs; not yet placed."""
    single = hub in harness.code_of
    cells = () if single else cells_of(harness, hub)
    joins = sum(hub in (wire.start, wire.end) for wire in harness.wires)
    splice = single and (hub in harness.unreachable or hub.upper().startswith("SP")) and joins > 1
    mine = tuple(tag for tag in tags if tag.hub == hub)
    spot = Spot(hub, cells, mine, harness.places.get(hub, ""), splice)
    words = min(text_width(spot.place, 11), 112.0)
    spot.width = max(spot.face[0], text_width(hub, 14), words, *(tag.width for tag in mine), 44.0)
    return spot


def place(spots: Sequence[Spot]) -> tuple[int, float]:
    """Give every spot its row, its side and its x, in order; the number of rows and the drawing's width."""
    rows, needed = _place_within(spots, WIDTH)
    if rows == 1:
        return rows, max(min(needed + EDGE, WIDTH), 560.0)
    width = WIDTH  # even out the rows: the narrowest width that needs no further row
    while width > 400 and _place_within(spots, width - 40)[0] == rows:
        width -= 40
    _place_within(spots, width)
    far = 0.0
    for row in range(rows):
        here = [spot for spot in spots if spot.row == row]
        start, end = here[0].x, max(spot.x + spot.width / 2 for spot in here)
        factor = min((WIDTH - EDGE - end) / max(here[-1].x - start, 1.0), 0.6) + 1
        for spot in here[1:]:
            spot.x = start + (spot.x - start) * factor
        far = max(far, *(spot.x + spot.width / 2 for spot in here))
    return rows, far + EDGE


def _place_within(spots: Sequence[Spot], width: float) -> tuple[int, float]:
    row, number_in_row, far = 0, 0, 0.0
    ends, last = [EDGE, EDGE], EDGE
    for spot in spots:
        side = int(ends[1] < ends[0])
        x = max(ends[side] + spot.width / 2, last + 24)
        if x + spot.width / 2 > width - EDGE and number_in_row:
            row, number_in_row, ends, last, side = row + 1, 0, [EDGE, EDGE], EDGE, 0
            x = EDGE + spot.width / 2
        spot.x, spot.row, spot.up = x, row, side == 0
        ends[side] = x + spot.width / 2 + GAP
        last = x
        number_in_row += 1
        far = max(far, x + spot.width / 2)
    return row + 1, far
