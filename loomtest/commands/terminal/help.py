"""The help screens: what a verb is given, what can be added, an example, and how it ends, in plain sections.

`loomtest VERB --help` prints them, and docs/reference.md is made of the same parts.
"""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass
from typing import Any

from loomtest.commands.terminal.text import paragraph, wrapped

COULD_NOT = "could not be done: one message says where, what was found and what was expected"
INTERRUPTED = "interrupted; everything recorded so far is safe on disk"
_BY_VERDICT = (
    (0, "pass"),
    (1, "fail: a fault stands"),
    (3, "not proven: something is undecided or not measured"),
)
ENDS: dict[str, tuple[tuple[int, str], ...]] = {
    "judge": _BY_VERDICT,
    "compare": tuple((status, text + " (of the run after)") for status, text in _BY_VERDICT),
    "wiggle": ((0, "no event"), (1, "intermittent"), (3, "no event, but too short to say")),
    "verify": ((0, "every bag is what was kept"), (1, "something is wrong")),
}
# What an option's value is called where its type does not say it.
_VALUES = {
    "out": "FOLDER", "archive": "FOLDER", "sheet": "FOLDER", "instrument": "METER", "meter": "PORT",
    "markers": "FILE", "kit": "FILE", "job": "NAME", "unit": "NUMBER", "customer": "NAME", "digest": "CODE",
    "source": "FILE", "configuration": "NAME",
    "scanner": "PORT", "notes": "FILE", "csv": "FILE", "key": "FILE", "new_key": "FILE", "from_zip": "FILE",
    "to_zip": "FILE", "bag": "NAME", "name": "WORDS", "stage": "WORD", "operator": "NAME",
    "temperature": "DEGREES", "open_after": "SECONDS", "flex": "SECONDS", "seconds": "SECONDS",
    "least": "SECONDS", "scans": "COUNT", "samples": "COUNT", "touch": "PIN", "start": "POINT",
    "end": "POINT", "against": "HARNESS", "harness": "HARNESS", "connector": "CONNECTOR",
    "port": "NUMBER", "address": "ADDRESS", "worked_on": "CONNECTOR", "cavities": "CONNECTOR=CAVITIES",
    "face": "CONNECTOR=ROWS", "clips": "COUNT", "after": "RUN", "before": "RUN", "shop": "FILE",
    "time_stamp": "ADDRESS", "time_stamp_authority": "FILE", "index": "ADDRESS", "first": "RUN",
    "since": "DATE", "until": "DATE", "bench": "NAME", "circuit": "NAME", "newest": "COUNT",
    "parquet": "FILE", "sample": "COUNT", "runs": "FOLDER", "plug": "CONNECTOR", "picture": "FILE",
    "verdict": "pass|fail|not-proven", "fault": "KIND", "place": "POINT",
    "side": "wire|mating|both", "isolation": "full|neighbours|bonded|none",
}  # fmt: skip
_SHELL = {
    "install_completion": "Let the Tab key complete commands and options in this shell from now on.",
    "show_completion": "Print what --install-completion would install, to put in place yourself.",
}
JOB = (
    ("Before you measure", ("new", "check", "plan", "markers", "swap")),
    ("While you measure", ("bench", "log", "wiggle", "ports")),
    ("What it means", ("judge", "compare", "report")),
    ("The record", ("keep", "history", "verify")),
    ("Many units", ("station", "yield", "expect")),
    ("To try it", ("demo",)),
)


@dataclass(frozen=True)
class HelpEntry:
    """An argument or option: how it is written, its help, and what stands instead of it."""

    written: str
    text: str
    required: bool
    argument: bool


def entries(command: Any) -> list[HelpEntry]:
    """Every argument and option of a verb, arguments first, --help left out."""
    found = []
    for parameter in command.params:
        argument = parameter.param_type_name == "argument"
        text = _SHELL.get(parameter.name or "", (parameter.help or "").strip())
        if argument:
            name = (parameter.metavar or parameter.name).upper()
            found.append(HelpEntry(name, text, parameter.required, True))
            continue
        if parameter.name == "help":
            continue
        value = "" if parameter.is_flag else " " + value_name(parameter)
        if preset := _default(parameter):
            text = f"{text.removesuffix('.')} ({preset})."
        found.append(HelpEntry(", ".join(parameter.opts) + value, text, parameter.required, False))
    return sorted(found, key=lambda entry: not entry.argument)


def value_name(parameter: Any) -> str:
    """`FOLDER`, `PORT` or `full|bonded`: what follows the option."""
    return _VALUES.get(parameter.name or "", "VALUE")


def _default(parameter: Any) -> str:
    value = parameter.default
    if parameter.is_flag or parameter.required or value in (None, "", (), 0) or callable(value):
        return ""
    number = f"{value:g}" if isinstance(value, float) else str(value)
    return f"default {number}"


def synopsis(name: str, command: Any) -> list[str]:
    """The words of the command line: what must be given, then what may be."""
    must = [entry.written for entry in entries(command) if entry.required]
    may = [f"[{entry.written}]" for entry in entries(command) if not entry.required]
    return ["loomtest", name, *must, *may]


def examples(command: Any) -> list[str]:
    """The command lines of the verb's examples."""
    return [line.removeprefix("Example: ") for line in (command.epilog or "").split("\n") if line]


def told(command: Any) -> tuple[str, list[str], str]:
    """What a verb does in one sentence, in paragraphs, and what its JSON object holds ("" if not said)."""
    text = re.sub(r"[ \t]*\n[ \t]*(?!\n)", " ", (command.help or "").replace("\n\n", "\f"))
    pieces = [" ".join(piece.split()) for piece in text.split("\f")]
    objects = [piece for piece in pieces[1:] if piece.startswith("The JSON object")]
    return pieces[0], [piece for piece in pieces[1:] if piece not in objects], " ".join(objects)


def ends(name: str) -> list[tuple[int, str]]:
    """The exit statuses of a verb and what each says."""
    done = ENDS.get(name, ((0, "done"),))
    return sorted([*done, (2, COULD_NOT), (130, INTERRUPTED)])


def page(name: str, command: Any) -> str:
    """The help of one verb."""
    width = _width()
    summary, paragraphs, objects = told(command)
    lines = [_filled(f"loomtest {name}: {summary[:1].lower()}{summary[1:]}", 0, 2, width), ""]
    lines.append(wrapped(synopsis(name, command), 2, 6, width))
    for text in paragraphs:
        lines += ["", _filled(text, 0, 0, width)]
    both = entries(command)
    for title, rows in (
        ("You give", [entry for entry in both if entry.required]),
        ("Options", [entry for entry in both if not entry.required]),
    ):
        if rows:
            lines += ["", title]
            for entry in rows:
                lines += [_filled(entry.written, 2, 6, width), _filled(entry.text, 6, 6, width)]
    if objects:
        lines += ["", "What --json prints", _filled(objects, 2, 2, width)]
    shown = examples(command)
    lines += ["", "Example" if len(shown) == 1 else "Examples"]
    lines += [wrapped(example.split(" "), 2, 6, width) for example in shown]
    lines += ["", "Exit status"]
    lines += [_filled(text, 2, 7, width, f"{status:>3} ") for status, text in ends(name)]
    return "\n".join(lines) + "\n"


def front_page(group: Any) -> str:
    """The help of the whole program: its verbs in the order of the job."""
    width = _width()
    summary, paragraphs, _ = told(group)
    lines = [_filled(f"loomtest: {summary[:1].lower()}{summary[1:]}", 0, 2, width)]
    for text in paragraphs:
        lines += ["", _filled(text, 0, 0, width)]
    for title, names in JOB:
        lines += ["", title]
        for name in names:
            says = told(group.commands[name])[0]
            lines.append(_filled(says[:1].lower() + says[1:].rstrip("."), 2, 11, width, f"{name:<8}"))
    lines += ["", "Options"]
    for entry in entries(group):
        lines += [f"  {entry.written}", _filled(entry.text, 6, 6, width)]
    lines += ["", "Examples", *(f"  {example}" for example in examples(group))]
    lines += ["", "loomtest COMMAND --help explains one of them."]
    return "\n".join(lines) + "\n"


def start_page() -> str:
    """What is shown where no verb was given: where to begin."""
    return "\n".join(
        [
            "loomtest proves a rebuilt wiring loom right before it goes back in.",
            "",
            "  loomtest demo              see the whole job on an invented loom",
            "  loomtest new my_loom       begin with your own: a few questions, or your notes",
            "  loomtest --help            everything it does, in the order of the job",
            "",
            paragraph(
                "Before any probe touches the loom: battery disconnected, negative off first; control units "
                "unplugged; airbag and belt-tensioner wiring never measured; orange cables left to the "
                "licensed; fuses never bridged. The vehicle's manual and local rules come first."
            ),
            "",
        ]
    )


def _filled(text: str, indent: int, hanging: int, width: int, head: str = "") -> str:
    """Running text; `head` stands before it with its spaces kept, for columns."""
    return wrapped([*([head] if head else []), *text.strip().split(" ")], indent, hanging, width)


def _width() -> int:
    """The terminal's columns, at most 80: longer lines are hard to read."""
    return max(40, min(80, shutil.get_terminal_size((80, 24)).columns))
