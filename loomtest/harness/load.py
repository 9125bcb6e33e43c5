"""Reads a harness: a folder, a `harness.toml`, or a bare wire list. Every mistake is told at once."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from loomtest.errors import ColumnsUnknown, InputError, Problem, nearest
from loomtest.harness.branches import BRANCHES, check_against, read_branches, with_lengths
from loomtest.harness.document import LARGEST_TOML_BYTES
from loomtest.harness.exchange.filename import ENDING, is_exchange, split_configuration
from loomtest.harness.lie import Lie
from loomtest.harness.model import Harness, cavity_of, connector_of
from loomtest.harness.outward import sheet_cell, visible
from loomtest.harness.points import folded
from loomtest.harness.restraint import restraint_word, untouchable
from loomtest.harness.settings import COLUMNS_KEY, Settings, read_settings
from loomtest.harness.table import Table, quoted, read_table, read_text
from loomtest.harness.wirelist import NEEDED, WireList, read_wires
from loomtest.harness.workbook import split_sheet

if TYPE_CHECKING:
    from loomtest.harness.exchange.kbl import Exchanged

MOST_NEAREST = 100  # problems after which nobody looks for the nearest name: it takes long in a long list


def load_harness(path: str | Path) -> Harness:
    """The harness at `path`; oddities that do not stop it stand in `Harness.warnings`.

    Raises InputError with every problem of both files: file, line, column, found, expected;
    ColumnsUnknown where the wire list is whole and only its column names say nothing.
    """
    given = with_columns_beside(Path(path))
    problems: list[Problem] = []
    if not is_there(given):
        expected = "a harness folder, a harness.toml, a wire list (CSV) or a harness file (KBL)"
        raise InputError([Problem(visible(str(given)), None, "", "no such file or folder", expected)])
    settings, toml, wire_list = listed_files(given, problems)
    listed, exchanged = WireList(), None
    if wire_list is not None:
        listed, settings, exchanged = _listed(wire_list, toml, settings, problems)
    table = listed.table
    if table is not None:
        problems[:] = map(table.in_place, problems)
    lie = _lie(given, problems)
    by_hand = lie is not None
    lie = exchanged.lie if lie is None and exchanged is not None else lie
    errors = _errors(problems)
    if errors:
        if all(problem.column == COLUMNS_KEY for problem in errors):
            raise ColumnsUnknown(problems_in_order(problems), given)
        raise InputError(problems_in_order(problems))
    folder = given if given.is_dir() else given.parent
    file, sheet_name = split_sheet(given)
    fallback = folder.resolve().name if toml is not None else " ".join([file.stem, sheet_name]).strip()
    points = _points(listed, settings)
    wires = listed.wires
    if lie is None and settings.limits.isolation_in_segments:
        found = "isolation_in_segments without branches"
        expected = f"{BRANCHES} beside it: only that says which wires share a branch"
        problems.append(Problem(visible(str(toml)), None, "limits", found, expected, "warning"))
    if lie is not None:
        if by_hand:
            check_against(lie, points, problems)
        wires = with_lengths(lie, wires, visible(str(wire_list)), problems)
    forbidden = untouchable(wires, {point: code for code, point in enumerate(points)})
    branches = folder / BRANCHES if by_hand else None
    sheet = wire_list and split_configuration(split_sheet(wire_list)[0])[0]
    return Harness(
        name=settings.name or fallback,
        wires=wires,
        points=points,
        unreachable=frozenset(settings.unreachable) | forbidden,
        untouchable=forbidden,
        worked_on=frozenset(settings.worked_on),
        expect=settings.expect,
        limits=settings.limits,
        cavities=settings.cavities,
        faces=settings.faces,
        places=settings.places,
        lie=lie,
        laid_out=table is not None and table.laid_out,
        warnings=tuple(problems_in_order(map(table.in_place, problems) if table else problems)),
        source=given,
        files=tuple(file for file in (toml, branches, sheet) if file is not None),
    )


def is_there(given: Path) -> bool:
    """Whether the folder or file is there, whatever sheet or configuration of it is named."""
    return any(path.exists() for path in (given, split_sheet(given)[0], split_configuration(given)[0]))


def with_columns_beside(given: Path) -> Path:
    """The harness.toml beside a bare list, where it names the list and says what its columns hold."""
    if given.is_dir() or given.suffix.lower() == ".toml":
        return given
    toml = given.parent / "harness.toml"
    if not toml.is_file():
        return given
    aside: list[Problem] = []
    text = read_text(toml, "", aside, LARGEST_TOML_BYTES)
    settings = read_settings(text, "", aside) if text is not None else Settings()
    mine = settings.columns is not None and settings.wires.casefold() == given.name.casefold()
    return toml if mine else given


def list_table(source: Path) -> Table:
    """The wire list of a harness once more, as it is read. Raises InputError."""
    problems: list[Problem] = []
    settings, _, wire_list = listed_files(source, problems)
    table = None
    if wire_list is not None:
        table = read_table(wire_list, visible(str(wire_list)), NEEDED, problems, settings.columns)
    if table is None:
        raise InputError(problems)
    return table


def list_text(harness: Harness, separator: str = ",") -> str:
    """The wire list of a harness as CSV with our own column names: what was read, and nothing else."""
    if harness.source is None:
        return ""
    table = list_table(harness.source)
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow(table.header)
    writer.writerows([sheet_cell(cell) for cell in cells] for _, cells in table.rows)
    return out.getvalue()


def _listed(
    wire_list: Path, toml: Path | None, settings: Settings, problems: list[Problem]
) -> tuple[WireList, Settings, Exchanged | None]:
    """The wires of a list or of an open harness file, and the settings with what such a file says."""
    exchanged = None
    if is_exchange(wire_list):
        from loomtest.harness.exchange.kbl import read_exchange  # few looms come so

        exchanged = read_exchange(wire_list, problems)
        table = exchanged.table if exchanged is not None else None
        settings = _with_exchanged(settings, exchanged)
    else:
        table = read_table(wire_list, visible(str(wire_list)), NEEDED, problems, settings.columns)
    listed = read_wires(table, problems) if table is not None else WireList()
    _check_cavities(visible(str(wire_list)), listed, settings, problems)
    if listed.ends:
        _check_names(visible(str(toml)), listed, settings, problems)
    return _without_restraint(visible(str(wire_list)), listed, problems), settings, exchanged


def _lie(given: Path, problems: list[Problem]) -> Lie | None:
    """How the loom lies, where its folder says it; a bare wire list has no folder of its own."""
    folder = given if given.is_dir() else given.parent if given.suffix.lower() == ".toml" else None
    if folder is None or not (folder / BRANCHES).is_file():
        return None
    return read_branches(folder / BRANCHES, problems)


def _with_exchanged(settings: Settings, exchanged: Exchanged | None) -> Settings:
    """The settings with what the exchange file says; harness.toml has the last word."""
    if exchanged is None:
        return settings
    return replace(
        settings,
        name=settings.name or exchanged.name,
        cavities={**exchanged.cavities, **settings.cavities},
        places={**exchanged.places, **settings.places},
    )


def _without_restraint(file: str, listed: WireList, problems: list[Problem]) -> WireList:
    """Rows whose texts speak of a restraint system count as such, whatever their kind; that is said."""
    words = [restraint_word(wire) if wire.kind != "restraint" else "" for wire in listed.wires]
    if not any(words):
        return listed
    for wire, word in zip(listed.wires, words, strict=True):
        if word:
            expected = (
                "no meter there: the row counts as a restraint system and is never measured. Is it none? "
                "Then use other words for it"
            )
            problems.append(Problem(file, wire.row, "kind", quoted(word), expected, "warning"))
    wires = tuple(
        replace(wire, kind="restraint") if word else wire
        for wire, word in zip(listed.wires, words, strict=True)
    )
    return replace(listed, wires=wires)


def problems_in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Errors before warnings, each in the order of files and lines."""
    files: dict[str, int] = {}
    listed = list(problems)
    for problem in listed:
        files.setdefault(problem.file, len(files))
    return sorted(listed, key=lambda p: (p.severity != "error", files[p.file], p.line or 0))


def _errors(problems: Iterable[Problem]) -> list[Problem]:
    return [problem for problem in problems if problem.severity == "error"]


def listed_files(given: Path, problems: list[Problem]) -> tuple[Settings, Path | None, Path | None]:
    """The settings, the toml file (None: there is none) and the wire list (None: it cannot be read)."""
    toml = given / "harness.toml" if given.is_dir() else given
    if given.is_dir() and not toml.exists():
        wire_list = given / "wires.csv"
        drawn = sorted(given.glob("*" + ENDING)) if not wire_list.exists() else []
        if len(drawn) == 1:  # the copy that a run keeps
            return Settings(), None, drawn[0]
        if not wire_list.exists():
            lists = sorted(file.name for end in ("csv", "xlsx", "ods") for file in given.glob(f"*.{end}"))[:5]
            found = "neither harness.toml nor wires.csv" + (f", but {', '.join(lists)}" if lists else "")
            expected = "one of them, or the wire list itself: " + str(
                given / (lists[0] if lists else "NAME.csv")
            )
            problems.append(Problem(visible(str(given)), None, "", visible(found), expected))
            return Settings(), None, None
        return Settings(), None, wire_list
    if not given.is_dir() and given.suffix.lower() != ".toml":
        return Settings(), None, given
    text = read_text(toml, visible(str(toml)), problems, LARGEST_TOML_BYTES)
    if text is None:
        return Settings(), toml, None
    settings = read_settings(text, visible(str(toml)), problems)
    folder = toml.parent
    wire_list = folder / settings.wires
    inside = folder.resolve()
    try:
        outside = not wire_list.resolve().is_relative_to(inside)
    except (OSError, ValueError, RuntimeError):  # a NUL in the name, a loop of links
        outside = True
    if outside:
        found = quoted(settings.wires) + ", which leads out of the harness folder"
        expected = "a file in the folder of harness.toml"
        problems.append(Problem(visible(str(toml)), settings.lines.get("wires"), "wires", found, expected))
        return settings, toml, None
    return settings, toml, wire_list


def _points(listed: WireList, settings: Settings) -> tuple[str, ...]:
    """Points of the wire list by first mention, then declared cavities that no wire uses."""
    points = dict.fromkeys(point for _, _, point in listed.ends)
    for connector, cavities in settings.cavities.items():
        points.update(dict.fromkeys(f"{connector}:{cavity}" for cavity in cavities))
    return tuple(points)


def _check_cavities(file: str, listed: WireList, settings: Settings, problems: list[Problem]) -> None:
    """A wire may end only in cavities that a connector declared in `[cavities]` has."""
    declared = {connector: frozenset(names) for connector, names in settings.cavities.items()}
    alike = {c: {folded(f"x:{name}"): name for name in names} for c, names in settings.cavities.items()}
    spoken = {connector: _spoken(names) for connector, names in settings.cavities.items()}
    for line, column, point in listed.ends if declared else ():
        connector, cavity = connector_of(point), cavity_of(point)
        if connector in declared and cavity not in declared[connector]:
            names = settings.cavities[connector]
            expected = f"a cavity of {connector}: {spoken[connector]}"
            near = alike[connector].get(folded(f"x:{cavity}"), "")
            if not near and 12 < len(names) < 200 and len(problems) < MOST_NEAREST:
                near = next(iter(nearest(cavity, names, 1)), "")
            expected += f"; the nearest is {near}" if near else ""
            problems.append(Problem(file, line, column, quoted(point), expected))


def _spoken(names: tuple[str, ...]) -> str:
    if names == tuple(str(number) for number in range(1, len(names) + 1)):
        return f"1 to {len(names)}"
    return ", ".join(names[:12]) + (" …" if len(names) > 12 else "")


def _check_names(file: str, listed: WireList, settings: Settings, problems: list[Problem]) -> None:
    """Points and connectors that harness.toml names must be in the wire list or declared."""
    if not any((settings.unreachable, settings.worked_on, settings.places, settings.faces)):
        return
    points = _points(listed, settings)
    connectors = list(dict.fromkeys(connector_of(point) for point in points if connector_of(point)))
    known_points, known_names = frozenset(points), frozenset(connectors) | frozenset(points)

    def say(key: str, name: str, known: list[str], what: str, severity: str) -> None:
        near = nearest(name, known, 1) if len(problems) < MOST_NEAREST else []
        expected = what + (f"; the nearest is {near[0]}" if near else "")
        line = settings.lines.get(key, settings.lines.get(key.partition(".")[0]))
        problems.append(Problem(file, line, key, quoted(name), expected, severity))

    for name in settings.unreachable:
        if name not in known_points:
            say("unreachable", name, list(points), "a point of the wire list", "error")
    for name in settings.worked_on:
        if name not in known_names:
            say("worked_on", name, connectors, "a connector of the wire list", "error")
    for name in settings.places:
        if name not in known_names:
            say(f"places.{name}", name, [*connectors, *points], "a name of the wire list", "warning")
    for name, face in settings.faces.items():
        if name not in connectors:
            say(f"faces.{name}", name, connectors, "a connector of the wire list", "warning")
        elif name in settings.cavities and len(settings.cavities[name]) % face.rows:
            count = len(settings.cavities[name])
            line = settings.lines.get(f"faces.{name}", settings.lines.get("faces"))
            found = f"{face.rows} rows for {count} cavities"
            expected = "rows of equal length"
            problems.append(Problem(file, line, f"faces.{name}", found, expected, "warning"))
