"""Where everything of a loom's picture stands: hubs in rows along the trunk, with what is written on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from loomtest.diagnosis.verdict import Finding
from loomtest.evidence.pictures.drawing import XY, visible
from loomtest.evidence.pictures.faces import FaceCavity, cells_of
from loomtest.evidence.pictures.layout import HubLayout
from loomtest.evidence.pictures.letters import cut, text_width, wrapped
from loomtest.harness.model import Harness, Wire, connector_of
from loomtest.words.labels import FAULT_WORD

WIDTH = 720.0  # on A4 the figures in the cavities are then 1.8 mm high, the names 2.6 mm
EDGE = 30.0
CELL = 25.0
BRANCH = 46.0
TAG = 24.0
LABEL = 19.0
GAP = 16.0
MOST_LABELS = 5  # on one branch
NAME = 150.0  # pixels that a name may take in a line


@dataclass(frozen=True)
class Tag:
    """A fault to mark: its number in the list of findings, how it is painted, where it sits."""

    number: int
    finding: Finding
    tone: str  # "bad" for a finding, "doubt" for what is undecided
    hub: str

    @property
    def words(self) -> str:
        """The text on the tag; a question mark where it is not decided."""
        return f"{self.number} {FAULT_WORD[self.finding.fault]}" + ("?" if self.tone == "doubt" else "")

    @property
    def width(self) -> float:
        """Pixels that the tag needs."""
        return text_width(self.words, 12.5, bold=True) + 38


@dataclass(frozen=True)
class Label:
    """What is written at the end of a wire that a fault concerns: its name, and where it goes."""

    words: str
    tone: str

    @property
    def width(self) -> float:
        """Pixels that the label needs."""
        return text_width(self.words, 11) + 12


@dataclass
class Spot:
    """A hub in its place: `x` on the trunk of board row `row`, above (`up`) or below it.

    `more`: so many hubs that are not drawn; such a spot stands for them and has no hub.
    """

    hub: str
    cells: tuple[FaceCavity, ...] = ()
    tags: tuple[Tag, ...] = ()
    labels: tuple[Label, ...] = ()
    names: tuple[str, ...] = ()
    place: str = ""
    splice: bool = False
    more: int = 0
    cell: float = CELL
    x: float = 0.0
    row: int = 0
    up: bool = True
    width: float = 0.0

    @cached_property
    def face(self) -> XY:
        """Width and height of the connector's face, or of the symbol of a single terminal."""
        if self.more:
            return (0.0, 0.0)
        if not self.cells:
            return (30.0, 30.0)
        columns = max(cell.column for cell in self.cells) + 1
        rows = max(cell.row for cell in self.cells) + 1
        return (columns * self.cell + 12, rows * CELL + 12)

    @property
    def branch(self) -> float:
        """Pixels from the trunk to the face."""
        if self.more:
            return 0.0
        written = TAG * len(self.tags) + LABEL * len(self.labels)
        return max(BRANCH, 22 + written + (8 if written else 0))

    @property
    def reach(self) -> float:
        """Pixels from the trunk to the far end of the words."""
        lines = 14 * len(self.place_lines) + 17 * (len(self.names) - 1 if self.names else 0)
        return 44.0 if self.more else self.branch + self.face[1] + 28 + lines

    @property
    def place_lines(self) -> list[str]:
        """Where to find it, in lines."""
        return wrapped(self.place, max(self.width, 60.0))


def home_of(finding: Finding, by_name: Mapping[str, Wire], hubs: Mapping[str, int]) -> str:
    """The hub where a finding is marked: the end to blame, else its first point; "" off the board."""
    ends = [suspect.end for suspect in finding.suspects[:1] if suspect.end]
    wires = [by_name[s.wire].start for s in finding.suspects[:1] if s.wire in by_name]
    named = [connector_of(point) or point for point in (*ends, *finding.points, *wires)]
    return next((hub for hub in named if hub in hubs), "")


def spot_of(harness: Harness, hub: str, tags: Sequence[Tag], labels: Sequence[Label], joins: int) -> Spot:
    """The hub with its cavities and all that is written on it, and the room it needs; not yet placed.

    `joins`: wires that end at it.
    """
    single = hub in harness.code_of
    cell = CELL
    cells: tuple[FaceCavity, ...] = ()
    if not single:
        cells = cells_of(harness, hub)
        longest = max((text_width(visible(one.cavity), 7.0) for one in cells), default=0.0)
        cell = min(max(CELL, longest + 10), 2 * CELL)
        cells = _folded(cells, int((WIDTH - 2 * EDGE - 12) / cell))
    splice = single and (hub in harness.unreachable or hub.upper().startswith("SP")) and joins > 1
    place = harness.places.get(hub, "")
    face = harness.faces.get(hub)
    if face is not None and face.seen_from == "wire":
        place = f"{place}, wire side".removeprefix(", ")
    rest = len(labels) - MOST_LABELS
    if rest > 0:
        labels = [*labels[: MOST_LABELS - 1], Label(f"and {rest + 1} more", labels[-1].tone)]
    spot = Spot(hub, cells, tuple(tags), tuple(labels), (), visible(place), splice, cell=cell)
    room = max(spot.face[0], NAME)
    spot.names = tuple(wrapped(visible(hub), room, 14.0, 2, bold=True)) or (cut(visible(hub), room, 14.0),)
    words = max((text_width(line, 14, bold=True) for line in spot.names), default=0.0)
    placed = min(text_width(spot.place, 11), 112.0)
    written = [tag.width for tag in spot.tags] + [label.width for label in spot.labels]
    spot.width = max(spot.face[0], words, placed, *written, 44.0)
    return spot


def _folded(cells: tuple[FaceCavity, ...], most: int) -> tuple[FaceCavity, ...]:
    """A face wider than the sheet goes on below itself."""
    if max((cell.column for cell in cells), default=0) < most:
        return cells
    rows = max(cell.row for cell in cells) + 1
    return tuple(
        replace(cell, column=cell.column % most, row=cell.row + rows * (cell.column // most))
        for cell in cells
    )


def shown_hubs(board: HubLayout, concerned: Sequence[str], sizes: Mapping[str, int], most: int) -> set[str]:
    """The hubs to draw: all of a small loom; of a large one those that a fault concerns.

    Where few are concerned, the largest connectors come too, so that there is a loom to see.
    """
    if len(board.hubs) <= most:
        return set(board.hubs)
    shown = dict.fromkeys(hub for hub in concerned if hub in sizes)
    kept = set(list(shown)[: 2 * most])
    for hub in sorted(board.hubs, key=lambda name: -sizes[name]):
        if len(kept) >= most // 4:
            break
        kept.add(hub)
    return kept


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


@dataclass
class BlockAt:
    """A connector's block: what is in it, how large it is, and where its upper left corner lies."""

    spot: Spot
    cavities: int
    width: float = 0.0
    height: float = 0.0
    x: float = 0.0
    y: float = 0.0
    head: float = 0.0  # of the tags and labels above the face
    body: float = 0.0

    @property
    def corners(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        return self.x, self.y, self.x + self.width, self.y + self.height
