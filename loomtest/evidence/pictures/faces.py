"""How the cavities of a connector lie on its face, as columns and rows."""

from __future__ import annotations

from dataclasses import dataclass

from loomtest.harness.model import Face, Harness, cavity_of, connector_of
from loomtest.harness.points import natural

WIDEST = 20  # cavities in a row where nothing says how they lie


@dataclass(frozen=True)
class FaceCavity:
    """A cavity at its place on the face; both count from 0 at the top left."""

    cavity: str
    column: int
    row: int


def cells_of(harness: Harness, connector: str) -> tuple[FaceCavity, ...]:
    """Every cavity of the connector where `[faces]` puts it, else in rows of at most `WIDEST`."""
    cavities = cavities_of(harness, connector)
    face = harness.faces.get(connector) or Face(rows=-(-len(cavities) // WIDEST))
    rows = max(1, min(face.rows, len(cavities)))
    columns = -(-len(cavities) // rows)
    cells = []
    for place, cavity in enumerate(cavities):
        if face.numbering == "down":
            column, row = divmod(place, rows)
        else:
            row, column = divmod(place, columns)
            if face.numbering == "back-and-forth" and row % 2:
                column = columns - 1 - column
        cells.append(FaceCavity(cavity, column, row))
    return tuple(cells)


def cavities_of(harness: Harness, connector: str) -> list[str]:
    """The declared cavities in their order, then any other that the wire list uses."""
    used = [cavity_of(point) for point in harness.points if connector_of(point) == connector]
    declared = harness.cavities.get(connector, ())
    rest = sorted((c for c in dict.fromkeys(used) if c not in declared), key=natural)
    return [*declared, *rest]
