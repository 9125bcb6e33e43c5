"""`loomtest swap`: the harness after a connector change, its pinout cards and a check list."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.text import counted, paragraph, shown
from loomtest.commands.terminal.verbs import HARNESS_HELP, JSON_HELP
from loomtest.harness.outward import json_text

if TYPE_CHECKING:
    from pathlib import Path

    from loomtest.harness.model import Face
    from loomtest.harness.swap.swap import Move, Swapped

SIDES = ("wire", "mating", "both")
FACE_KEYS = ("rows", "numbering", "seen_from")


@app.command(epilog="Example: loomtest swap helm map.csv --out helm_new --cavities X5N=8 --face X5N=2")
def swap(
    harness: Annotated[str, typer.Argument(help=HARNESS_HELP)],
    map_file: Annotated[
        str, typer.Argument(metavar="map", help="A CSV file: columns old,new, or colour,new.")
    ],
    out: Annotated[str, typer.Option(help="The folder for the new harness; it must be new or empty.")],
    connector: Annotated[
        str, typer.Option(help="The old connector, where the map has colours and no old cavities.")
    ] = "",
    cavities: Annotated[
        list[str] | None, typer.Option(help="Cavities of a new connector: X5N=8, or X5N=A1,A2,B1,B2.")
    ] = None,
    face: Annotated[
        list[str] | None,
        typer.Option(help="Rows of a new connector, how they count, from which side: X5N=2,across,mating."),
    ] = None,
    side: Annotated[str, typer.Option(help="The side that the pinout shows: wire, mating or both.")] = "both",
    as_json: Annotated[bool, typer.Option("--json", help=JSON_HELP)] = False,
) -> None:
    """Write the harness as it is after a connector is changed for another.

    The map says where each wire goes: rows such as X5:1,X5N:3, or with the column colour instead of old.
    How the new connector looks is told in [cavities] and [faces] of harness.toml, or with --cavities and
    --face: the number of rows, then across, down or back-and-forth, then the side (mating or wire) on which
    the first cavity is at the top left.

    For a cavity no longer used, write unused in the column new. A column mark allows
    two things that are refused otherwise: splice puts the wires of two old cavities into one new one, split
    puts the wires of one old cavity into two.

    Into the new folder go wires.csv and harness.toml, the pinout cards (pinout.txt, pinout.svg), a list to
    tick (check_list.txt) and a copy of the map. The old harness stays as it is.

    The JSON object, "schema": "loomtest-swap/1": harness; out; moves and unused (wire, end, colour, old,
    new); joined, parted and notes (sentences).
    """
    from pathlib import Path

    from loomtest.errors import InputError, Problem
    from loomtest.harness.load import load_harness
    from loomtest.harness.swap.files import write_harness
    from loomtest.harness.swap.map import read_map
    from loomtest.harness.swap.swap import swap as swap_connectors

    if side not in SIDES:
        raise InputError([Problem("--side", None, "", shown(side), "one of " + ", ".join(SIDES))])
    before = load_harness(harness)
    counts, faces = _described(cavities or [], face or [])
    chart = read_map(map_file, before, connector)
    swapped = swap_connectors(before, chart, counts, faces)
    papers = _papers(swapped, side)
    folder = Path(out)
    write_harness(before, swapped, Path(map_file), folder, papers)
    if as_json:
        typer.echo(json_text(as_object(swapped, folder)))
        return
    typer.echo("\n".join(papers[name] for name in ("pinout.txt", "check_list.txt") if name in papers))
    typer.echo("\n".join(_closing(swapped, folder)))


def _described(cavities: list[str], faces: list[str]) -> tuple[dict[str, tuple[str, ...]], dict[str, Face]]:
    """The new connectors as the options describe them; raises InputError with every mistake."""
    from loomtest.errors import InputError, Problem
    from loomtest.harness.settings import read_settings

    # The words of harness.toml, so that they are held to the same rules.
    problems: list[Problem] = []
    text = ["[cavities]"]
    for item in cavities:
        name, equals, value = item.partition("=")
        if not equals:
            problems.append(
                Problem("--cavities", None, "", shown(item), "a connector and its cavities: X5N=8")
            )
        names = ", ".join(_toml(word) for word in value.split(","))
        text.append(f"{_toml(name)} = {value if _is_number(value) else f'[{names}]'}")
    text.append("[faces]")
    for item in faces:
        name, equals, value = item.partition("=")
        words = [word.strip() for word in value.split(",")]
        if not equals or len(words) > len(FACE_KEYS):
            expected = "a connector and its rows, then numbering and side: X5N=2,across,mating"
            problems.append(Problem("--face", None, "", shown(item), expected))
        pairs = zip(FACE_KEYS, words, strict=False)
        keys = (f"{key} = {word if _is_number(word) else _toml(word)}" for key, word in pairs)
        text.append(f"{_toml(name)} = {{{', '.join(keys)}}}")
    if problems:
        raise InputError(problems)
    settings = read_settings("\n".join(text), "--cavities and --face", problems)
    if problems:
        from dataclasses import replace

        raise InputError([replace(problem, line=None) for problem in problems])
    return dict(settings.cavities), dict(settings.faces)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and not text.startswith("0")


def _toml(text: str) -> str:
    import json

    return json.dumps(text.strip(), ensure_ascii=True)


def _papers(swapped: Swapped, side: str) -> dict[str, str]:
    from loomtest.evidence.pictures.drawing import to_svg
    from loomtest.evidence.pictures.pinout import card_of, pinout_drawing
    from loomtest.evidence.pinout_text import card_lines, check_list_lines
    from loomtest.harness.model import connector_of

    harness = swapped.harness
    names = dict.fromkeys(name for move in swapped.moves if (name := connector_of(move.new)))
    sides: tuple[Any, ...] = ("wire", "mating") if side == "both" else (side,)
    cards = [card_of(harness, name, which) for name in names for which in sides]
    text = "\n\n\n".join("\n".join(card_lines(card)) for card in cards)
    papers = {"check_list.txt": "\n".join(check_list_lines(swapped)) + "\n"}
    if cards:
        papers["pinout.txt"] = text + "\n"
        papers["pinout.svg"] = to_svg(pinout_drawing(harness, cards), alone=True, ident="pinout")
    return papers


def _closing(swapped: Swapped, folder: Path) -> list[str]:
    moved = counted(len(swapped.moves), "wire end")
    left = f", {counted(len(swapped.unused), 'wire')} left out" if swapped.unused else ""
    name = shown(str(folder))
    return [
        paragraph(f"Written to {name}: {moved} moved{left}. The cards and the list are there too."),
        "When the last terminal is in, measure, and then:",
        f"  loomtest judge {name} READINGS",
    ]


def as_object(swapped: Swapped, folder: Path) -> dict[str, Any]:
    """The JSON object described in the command's help."""

    def rows(moves: tuple[Move, ...]) -> list[dict[str, Any]]:
        return [
            {
                "wire": move.wire.name,
                "end": move.column,
                "colour": move.wire.colour,
                "old": move.old,
                "new": move.new or None,
            }
            for move in moves
        ]

    return {
        "schema": "loomtest-swap/1",
        "harness": swapped.harness.name,
        "out": str(folder),
        "moves": rows(swapped.moves),
        "unused": rows(swapped.unused),
        "joined": list(swapped.joined),
        "parted": list(swapped.parted),
        "notes": list(swapped.notes),
    }
