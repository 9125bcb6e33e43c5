"""The wires of a statement with what it says of them: colour, size, length, fuse, notes."""

from __future__ import annotations

from loomtest.harness.notes.ends import EndsFound
from loomtest.harness.notes.meaning import Ask, Joint, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention


def described(
    pairs: list[tuple[Mention, Mention, bool]],
    reading: EndsFound,
    groups: list[list[Mention]],
    scene: Surroundings,
) -> list[Joint]:
    """Each pair with its colour, size and the rest."""
    said: list[dict[str, str]] = [{} for _ in pairs]
    notes = [note for note in reading.notes if note]
    for sort in ("colour", "size", "length", "amps"):
        values = _values(reading, sort, len(pairs))
        fuse = (
            any(fused for *_, fused in pairs)
            or scene.fuse_row
            or any("fuse" in m.key or "breaker" in m.key for g in groups for m in g)
        )
        if sort == "amps" and values and fuse:
            notes.append(
                " ".join([*reading.fuses.values()][:1] + values) if reading.fuses else f"fuse of {values[0]}"
            )
            continue
        if not values:
            continue
        own = _of_one_item(reading, groups, sort)
        if own is not None:
            for row, value in zip(said, own, strict=True):
                if value:
                    row[sort] = value
            continue
        if len(set(values)) == 1:
            if sort == "length" and len(pairs) > 1 and not reading.each:
                notes.append(values[0])
            else:
                for row in said:
                    row[sort] = values[0]
        elif len(values) == len(pairs):
            for row, value in zip(said, values, strict=True):
                row[sort] = value
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2 and reading.anded:
            said[0][sort] = "/".join(values)
        elif sort == "colour" and len(values) == 2 and scene.meant in ("first", "second"):
            for row in said:
                row[sort] = values[scene.meant == "second"]
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2 and scene.meant == "both":
            said[0][sort] = "/".join(values)
        elif sort == "colour" and len(pairs) == 1 and len(values) == 2:
            raise UnsureError(Ask.COLOURS, " ".join(values))
        else:
            raise UnsureError(Ask.COLOURS if sort == "colour" else Ask.SEVERAL_MEANINGS, ", ".join(values))
    if reading.label:
        for row in said:
            row["circuit"] = reading.label
    found = []
    for (start, end, fused), row in zip(pairs, said, strict=True):
        if fused or reading.kind:
            row["kind"] = "fuse" if fused else reading.kind
        if reading.joins[:1] == ["back"]:
            start, end = end, start
        found.append(Joint(start, end, row, tuple(notes), tuple(reading.left)))
    return found


def _values(reading: EndsFound, sort: str, wires: int) -> list[str]:
    """What is said of the wires; of `switch 1/2/3 to relay 86/87/30, red/blue/green` a colour of each."""
    values = [value for kind, value, _ in reading.about if kind == sort]
    shades = values[0].split("/") if sort == "colour" and len(values) == 1 else []
    return shades if len(shades) == wires > 2 else values


def _of_one_item(reading: EndsFound, groups: list[list[Mention]], sort: str) -> list[str] | None:
    """`SP1: X1 3 red, X4 2`: what stands inside a list is said of the item before it; else None."""
    if len(groups) != 2 or len(groups[0]) != 1 or len(groups[1]) < 2:
        return None
    if sum(map(len, reading.groups)) != 1 + len(groups[1]):  # `both lamps` is one word and two ends
        return None
    many = len(groups[1])
    placed = [(value, ends - 2) for kind, value, ends in reading.about if kind == sort]
    inside = any(0 <= ends - 2 < many - 1 for _, _, ends in reading.about)
    if (
        not inside
        or any(not 0 <= at < many for _, at in placed)
        or len({at for _, at in placed}) < len(placed)
    ):
        return None
    own = [""] * many
    for value, at in placed:
        own[at] = value
    return own
