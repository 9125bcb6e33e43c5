"""How the command line is put together: our own help screens, and mistakes in a command as one message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import typer
from typer.core import TyperCommand, TyperGroup

Function = TypeVar("Function", bound=Callable[..., Any])
HARNESS_HELP = "A harness folder, a harness.toml, a bare wire list (CSV), or a harness file (KBL)."
SEVERAL_HELP = "A readings file (CSV) or a run folder; several are judged together, in their order."
INSTRUMENT_HELP = (
    "The meter: an instrument file, or one that is supplied: handheld-3half, handheld-4half, "
    "handheld-picofarads, milliohm-meter, bench-four-wire."
)
JSON_HELP = "Print one JSON object and nothing else."
QUIET_HELP = "Hide progress messages."


class Verb(TyperCommand):
    """A command whose help has our layout."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help of this verb."""
        from loomtest.commands.terminal.help import page

        formatter.write(page(self.name or "", self))


class Verbs(TyperGroup):
    """All commands; no verb at all shows where to begin."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help of the whole program."""
        from loomtest.commands.terminal.help import front_page

        formatter.write(front_page(self))

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The verb that was named; raises InputError, naming the nearest, where there is none."""
        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            from loomtest.commands.terminal.text import shown
            from loomtest.errors import InputError, Problem, nearest

            near = nearest(args[0], list(self.commands), 1)
            expected = f"{near[0]}, if that was meant" if near else ", ".join(self.commands)
            raise InputError([Problem("command", None, "", f'"{shown(args[0])}"', expected)])
        return super().resolve_command(ctx, args)


class Application(typer.Typer):
    """A typer application whose commands are verbs."""

    def command(self, *args: Any, **options: Any) -> Callable[[Function], Function]:
        """Register a verb."""
        return super().command(*args, **{"cls": Verb, **options})


# Whatever version of its parser typer carries, its mistakes have this ancestor.
UsageMistake: Any = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")


def usage_sentence(mistake: Any) -> str:
    """A mistake in the command line as found and expected, with where to read more."""
    from loomtest.commands.terminal.help import entries, synopsis, value_name

    context = getattr(mistake, "ctx", None)
    command = getattr(context, "command", None)
    name = getattr(command, "name", None) or ""
    verb = isinstance(command, Verb)
    text = mistake.format_message().rstrip(".")
    kind = type(mistake).__name__
    parameter = getattr(mistake, "param", None)
    if kind == "MissingParameter" and parameter is not None and verb:
        missing = (parameter.metavar or parameter.name).upper()
        if parameter.param_type_name == "option":
            missing = f"{parameter.opts[0]} {value_name(parameter)}"
        must = [word for word in synopsis(name, command) if not word.startswith("[")]
        text = f"found no {missing}; expected {' '.join(must)}"
    elif kind == "NoSuchOption":
        known = (
            [entry.written.split(" ")[0] for entry in entries(command)] if verb else ["--version", "--help"]
        )
        from loomtest.errors import nearest

        near = nearest(mistake.option_name, known, 1)
        expected = f"{near[0]}, if that was meant" if near else ", ".join(known)
        text = f"found no option {mistake.option_name}; expected {expected}"
    elif kind == "BadParameter" and parameter is not None:
        said = mistake.message.rstrip(".").removeprefix("Value error, ")
        text = f"{parameter.opts[0]}: {said[:1].lower()}{said[1:]}"
    elif kind == "BadParameter" and mistake.param_hint:
        text = f"{mistake.param_hint}: {mistake.message}"
    elif "unexpected extra argument" in text and verb:
        surplus = text.partition("(")[2].partition("(")[2].rstrip(")") or text.rpartition("(")[2].rstrip(")")
        text = f"found {surplus} too much; expected {' '.join(synopsis(name, command)[:4])}"
    where = f"loomtest {name} --help" if verb else "loomtest --help"
    lead = f"{name}: " if verb else ""
    return f"{lead}{text} ({where} says more)"
