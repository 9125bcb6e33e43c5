"""What a page says of all its wires: `all 1.5 mm² unless noted`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes.notation import NotedWire, sound
from loomtest.harness.notes.result import Kind, LookAt, NotedLine, ToLookAt
from loomtest.harness.notes.tokens import tokens_of

SAYS = re.compile(
    r"\ball\s+(?:other\s+)?(?:(?:the\s+)?(?:wires?|wiring|cables?)\s+)?(?:is\s+|are\s+|in\s+)?(?P<size>\S+(?:\s\S+)?)\s+"
    r"(?:unless|except|if not|where not|otherwise)\b",
    re.IGNORECASE,
)


def with_size(
    lines: Sequence[NotedLine], wires: Sequence[NotedWire]
) -> tuple[list[NotedLine], list[NotedWire], list[LookAt]]:
    """The lines and wires with the page's size where they have none of their own; and that it was given."""
    found = [(line.number, size) for line in lines if line.kind is Kind.REMARK and (size := _size(line.text))]
    if len({size for _, size in found}) != 1:
        return list(lines), list(wires), []
    number, size = found[0]
    bare = sum(not wire.size for wire in wires)
    told = [LookAt(number, ToLookAt.ALL_SIZE, (size, str(bare)))] if bare else []

    def sized(wire: NotedWire) -> NotedWire:
        return wire if wire.size else replace(wire, size=size)

    return (
        [replace(line, wires=tuple(map(sized, line.wires))) for line in lines],
        list(map(sized, wires)),
        told,
    )


def _size(text: str) -> str:
    match = SAYS.search(text)
    if match is None:
        return ""
    sizes = [t.value for t in tokens_of(match["size"]) if t.sort in ("size", "size?")]
    return sizes[0] if len(sizes) == 1 and sound("size", sizes[0]) else ""
