"""Writes the harness after a connector change as a folder of its own; nothing of the old one is touched."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loomtest.errors import InputError, Problem
from loomtest.harness.branches import BRANCH_COLUMNS, BRANCHES, branch_rows
from loomtest.harness.exchange.filename import is_exchange
from loomtest.harness.load import list_table, list_text
from loomtest.harness.model import Face, Harness, connector_of
from loomtest.harness.newfolder import not_written
from loomtest.harness.origin import BEFORE_FOLDER, WAS, was_at
from loomtest.harness.outward import HARD_SPACE, sheet_cell, visible
from loomtest.harness.swap.swap import Swapped
from loomtest.harness.table import COMMENT, Table, lines_of, read_text
from loomtest.harness.whole import take_back, written_whole

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

MAP_COPY = "connector_map.csv"


def write_harness(
    before: Harness, swapped: Swapped, chart: Path, out: Path, more: Mapping[str, str]
) -> tuple[Path, ...]:
    """Write wires.csv, harness.toml, `more` (name to text) and copies of the map and of the old harness.

    The folder appears whole or not at all. Raises InputError when it is there already and holds something,
    or cannot be written.
    """
    try:
        take_back(out)
    except OSError as error:
        raise not_written(out, error) from error
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        found = "a file" if not out.is_dir() else "a folder that holds something"
        raise InputError([Problem(visible(str(out)), None, "", found, "a new folder, or an empty one")])
    files = {
        "wires.csv": wire_list_text(before, swapped),
        "harness.toml": settings_text(before, swapped.harness),
        **branches_text(before, swapped),
        **more,
    }
    try:
        with written_whole(out) as aside:
            for name, text in files.items():
                (aside / name).write_text(text, encoding="utf-8", newline="")
            shutil.copyfile(chart, aside / MAP_COPY)
            _copy_before(before, aside / BEFORE_FOLDER)
    except OSError as error:
        raise not_written(out, error) from error
    return tuple(out / name for name in (*files, MAP_COPY))


def _copy_before(before: Harness, folder: Path) -> None:
    """The old harness goes along, so that readings taken on it can be followed across the change."""
    toml = next((path for path in before.files if path.suffix.lower() == ".toml"), None)
    for path in before.files:
        whole = toml is not None or path != before.files[-1]
        name = path.relative_to(path.parent if toml is None else toml.parent) if whole else Path("wires.csv")
        if before.laid_out and not whole:
            name = Path(path.name)
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, folder / ("harness.toml" if path == toml else name))
    if toml is None and before.laid_out:
        (folder / "wires.csv").write_text(list_text(before), encoding="utf-8", newline="")
    if toml is None:
        (folder / "harness.toml").write_text(settings_text(before, before), encoding="utf-8", newline="")


def wire_list_text(before: Harness, swapped: Swapped) -> str:
    """The wire list with new points; every other cell as it was, names written out, old points added."""
    table = _table(before)
    names = [name.casefold() for name in table.header]
    header = list(table.header)
    for added in ("wire", *WAS.values()):
        if added not in names:
            names.append(added)
            header.append(added)
    # Row for row: a workbook's sheets have the same numbers, and a row of a pin list may be two wires.
    rows = {wire.name: cells for wire, (_, cells) in zip(before.wires, table.rows, strict=True)}
    out = io.StringIO()
    out.writelines(f"{line}\n" for line in _comments(before, table))
    writer = csv.writer(out, delimiter=table.separator, lineterminator="\n")
    writer.writerow(header)
    for wire in swapped.harness.wires:
        cells = rows[wire.name] + [""] * (len(header) - len(table.header))
        for name, value in (
            ("from", wire.start),
            ("to", wire.end),
            ("wire", wire.name),
            *((column, was_at(wire, end)) for end, column in WAS.items()),
        ):
            cells[names.index(name)] = value
        writer.writerow(map(sheet_cell, cells))
    return out.getvalue()


def branches_text(before: Harness, swapped: Swapped) -> dict[str, str]:
    """branches.csv (name to text) with the new connector at the old one's node, where one took its place."""
    if before.lie is None:
        return {}
    took: dict[str, set[str]] = {}
    for move in swapped.moves:
        took.setdefault(connector_of(move.old) or move.old, set()).add(connector_of(move.new) or move.new)
    name_of = {old: next(iter(new)) for old, new in took.items() if len(new) == 1}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(BRANCH_COLUMNS)
    for start, end, *cells in branch_rows(before.lie):
        writer.writerow([name_of.get(start, start), name_of.get(end, end), *cells])
    return {BRANCHES: out.getvalue()}


def _table(harness: Harness) -> Table:
    path = harness.files[-1]
    if is_exchange(path):
        expected = f"a folder of our own files: loomtest new FOLDER --from {visible(str(path))}"
        raise InputError([Problem(visible(str(path)), None, "", "a harness file (KBL)", expected)])
    return list_table(harness.source or path)


def _comments(harness: Harness, table: Table) -> list[str]:
    """The comment lines above the header, which are part of what the person wrote."""
    if harness.laid_out:
        return []
    text = read_text(harness.files[-1], table.file, []) or ""
    return [
        visible(line, "\t")
        for line in lines_of(text)[: table.header_line - 1]
        if line.lstrip().startswith(COMMENT)
    ]


def settings_text(before: Harness, after: Harness) -> str:
    """harness.toml after the change: comments and what the change leaves alone stay as they are."""
    import tomlkit

    toml = next((path for path in before.files if path.suffix.lower() == ".toml"), None)
    document = tomlkit.parse(toml.read_text(encoding="utf-8-sig")) if toml else tomlkit.document()
    document["name"] = after.name
    document["wires"] = "wires.csv"
    document.pop("columns", None)  # the new list has our own
    _set(document, "unreachable", [p for p in after.points if p in after.unreachable])
    _set(document, "worked_on", sorted(after.worked_on))
    _merge(document, "cavities", {name: _cavities(names) for name, names in after.cavities.items()})
    _merge(document, "faces", {name: _face(face) for name, face in after.faces.items()})
    _merge(document, "places", dict(after.places))
    return visible(tomlkit.dumps(document), "\n\r\t" + HARD_SPACE)


def _set(document: TOMLDocument, key: str, names: list[str]) -> None:
    """A top-level list; left alone where it says the same already. (tomlkit puts it before the tables.)"""
    old = document.get(key)
    if old is None and not names:
        return
    if old is None or sorted(map(str, old)) != sorted(names):
        document[key] = names


def _merge(document: TOMLDocument, key: str, wanted: Mapping[str, Any]) -> None:
    """Bring a table to what is wanted, touching only the entries that differ."""
    import tomlkit

    if key not in document:
        if wanted:
            document[key] = {}
        else:
            return
    table: Any = document[key]
    for name in [name for name in table if name not in wanted]:
        del table[name]
    for name, value in wanted.items():
        if name not in table or _differs(table[name], value):
            item = tomlkit.item(value)
            if isinstance(value, dict):
                item = tomlkit.inline_table()
                item.update(value)
            table[name] = item


def _differs(old: Any, new: Any) -> bool:
    plain = old.unwrap() if hasattr(old, "unwrap") else old
    if isinstance(new, dict):
        return {"rows": 1, "numbering": "across", "seen_from": "mating", **plain} != {
            "rows": 1, "numbering": "across", "seen_from": "mating", **new,
        }  # fmt: skip
    if isinstance(new, list) and isinstance(plain, list):
        return [str(item) for item in plain] != new
    return bool(plain != new)


def _cavities(names: tuple[str, ...]) -> int | list[str]:
    counted: Iterable[str] = (str(number) for number in range(1, len(names) + 1))
    return len(names) if names == tuple(counted) else list(names)


def _face(face: Face) -> dict[str, Any]:
    values: dict[str, Any] = {"rows": face.rows, "numbering": face.numbering}
    if face.seen_from != "mating":
        values["seen_from"] = face.seen_from
    return values
