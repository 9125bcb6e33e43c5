"""On which evidence the reader of notes writes a wire, and how often each kind of it is wrong.

    python -m tests.scores.gates FOLDER [FOLDER ...] [--rows]

Each folder holds labelled pages (NN.txt with NN.json, as in tests/harness/notes/pages). A row is of a kind by
the line it stands in (a table's row, a row below a heading, a statement with an arrow, with words, with a
dash, without a sign), by how well each of its ends is known, and by what was left over. For each kind: rows
that are right, rows that no label has, the hands that wrote them, and the largest share of false rows with
any one hand left out: a gate may rest on a kind only where that share is below 1 in 100. Questions are
counted by their reason: how often their first reading says just what the label says. `--rows` names the
false rows.
"""

from __future__ import annotations

import json
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path
from typing import Any
from unittest.mock import patch

from loomtest.harness.notes import credible
from loomtest.harness.notes.meaning import Joint
from loomtest.harness.notes.notation import NotedWire, wires_of
from loomtest.harness.notes.pinned import row_of
from loomtest.harness.notes.reader import read_notes
from loomtest.harness.notes.reading import made
from loomtest.harness.notes.result import Notes
from loomtest.harness.notes.rows import read_line
from tests.harness.notes.test_pages import Label

ENDS = ("no name", "a clear name", "a point")


class Watched:
    """Reads a page and keeps, for each wire, the evidence on which it was written."""

    def __init__(self) -> None:
        self.kinds: dict[tuple[int, str, str], dict[str, str]] = {}
        self.lines: dict[int, str] = {}

    def notes(self, text: str) -> Notes:
        """The page as it is read; `kinds` has the evidence of its wires by line and ends."""
        home = "loomtest.harness.notes"
        with patch(f"{home}.reading.read_line", self._line), patch(f"{home}.reader.made", self._wire):
            return read_notes(text)

    def _line(self, state: Any, line: Any, tokens: Any) -> Any:
        found = read_line(state, line, tokens)
        sorts = {token.sort for token in tokens}
        pinned = state.row is None and state.scene.device is not None and row_of(state, tokens)
        sign = next((s for s in ("arrow", "feeds", "from", "to", "dash") if s in sorts), "no sign")
        if pinned and sign != "no sign":
            before = takewhile(lambda token: token.sort != sign, pinned[1])
            sign += " behind a name" if any(token.sort == "word" for token in before) else " first"
        self.lines[line.number] = (
            "table" if state.row is not None else f"row, {sign}" if pinned else f"statement, {sign}"
        )
        return found

    def _wire(self, joint: Joint, number: int, names: Any) -> NotedWire:
        wire = made(joint, number, names)
        ends = sorted(_end(end, names) for end in (joint.start, joint.end))
        self.kinds[number, wire.start, wire.end] = {
            "line": self.lines.get(number, "other"),
            "ends": " + ".join(ends),
            "said": "colour" if joint.said.get("colour") else "nothing" if not joint.said else "other",
            "left over": "words" if joint.left else "notes" if joint.notes else "nothing",
        }
        return wire


def _end(end: Any, names: Any) -> str:
    strength = ENDS[credible._strength(end, names)]
    if strength == "a point":
        key = names.alias(end.key)
        again = "again" if names.stands(key) > 1 or key in names.headed else "once"
        strength = f"{end.sort or 'name'} {again}"
    return f"{strength}{' :' if end.terminal else ''}"


def _false(label: Label, notes: Notes) -> Iterator[tuple[NotedWire, bool]]:
    """Each wire that was read, and whether the label has it; those of doubtful lines are passed over."""
    free = list(notes.wires)
    for wire in label.told["wires"]:
        for found in free:
            if _fits(label, wire, found):
                free.remove(found)
                yield found, True
                break
        else:
            if "via" in wire and (halves := label.halves(wire, free)):
                free = [found for found in free if found not in halves]
    doubtful = set(label.told["doubtful_lines"])
    yield from ((wire, False) for wire in free if wire.line not in doubtful)


def _first_reading(label: Label, line: Any) -> bool:
    """Whether the first reading of a question makes just the wires of its line."""
    wires = wires_of(line.readings[0]) if line.readings else []
    told = [w for w in label.told["wires"] if w["line"] == line.number]
    fits = [_fits(label, wire, own) for own in wires for wire in told]
    return bool(wires) and len(wires) == len(told) == sum(fits)


def _fits(label: Label, told: dict[str, Any], wire: NotedWire) -> bool:
    ends = (wire.start, wire.end)
    return any(label.fits(told["from"], a) and label.fits(told["to"], b) for a, b in (ends, ends[::-1]))


def main(folders: list[str], rows: bool) -> None:
    """Print the counts of each kind, the worst first."""
    counts: dict[tuple[str, str], dict[str, Counter[bool]]] = defaultdict(lambda: defaultdict(Counter))
    for path in sorted(path for folder in folders for path in Path(folder).glob("*.json")):
        label = Label(json.loads(path.read_text("utf-8")))
        watched = Watched()
        notes = watched.notes(path.with_suffix(".txt").read_text("utf-8"))
        for wire, right in _false(label, notes):
            kinds = watched.kinds.get((wire.line, wire.start, wire.end), {"line": "in our own notation"})
            for sort, kind in [*kinds.items(), ("line x ends", f"{kinds['line']}; {kinds.get('ends', '')}")]:
                counts[sort, kind][path.stem][right] += 1
            if rows and not right:
                print(f"{path.stem}:{wire.line}  {wire.words}   [{'; '.join(kinds.values())}]")
        for line in notes.unread:
            if line.why is not None and line.readings:
                counts["question", line.why.value][path.stem][_first_reading(label, line)] += 1
    _print(counts)


def _print(counts: dict[tuple[str, str], dict[str, Counter[bool]]]) -> None:
    sort = ""
    print(f"{'':44} right false hands  share false, worst hand left out")
    for (own, kind), hands in sorted(counts.items(), key=lambda item: (item[0][0], -_share(item[1]))):
        if own != sort:
            print(own)
            sort = own
        total = sum(hands.values(), Counter[bool]())
        without = max((_share({k: v for k, v in hands.items() if k != left}) for left in hands), default=0.0)
        told = f"{total[True]:5} {total[False]:5} {len(hands):5}  {_share(hands):6.1%}  {without:6.1%}"
        print(f"  {kind:42} {told}")


def _share(hands: dict[str, Counter[bool]]) -> float:
    total = sum(hands.values(), Counter[bool]())
    return total[False] / max(1, total.total())


if __name__ == "__main__":
    main([a for a in sys.argv[1:] if not a.startswith("--")], "--rows" in sys.argv)
