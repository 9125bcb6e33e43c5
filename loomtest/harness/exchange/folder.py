"""The loom of an exchange file as the files of a folder of ours."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

from loomtest.errors import InputError, Problem
from loomtest.harness.branches import BRANCH_COLUMNS, BRANCHES, branch_rows
from loomtest.harness.exchange.filename import is_exchange, split_configuration
from loomtest.harness.exchange.kbl import Exchanged, read_exchange
from loomtest.harness.lie import Lie
from loomtest.harness.newfolder import Answers
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.outward import visible


def with_configuration(harness: str, configuration: str | None) -> str:
    """`FILE.kbl#NAME` of a file and a name. Raises InputError where the harness is no exchange file."""
    if configuration is None:
        return harness
    if not is_exchange(Path(harness)):
        expected = "a harness file (KBL); no other harness has configurations"
        raise InputError([Problem("--configuration", None, "", visible(harness), expected)])
    return f"{split_configuration(Path(harness))[0]}#{configuration}"


def answers_from(source: str, answers: Answers, *, named: bool) -> tuple[Answers, list[Problem]]:
    """`answers` with the loom of an exchange file, and what is odd in it; `named`: the name stands already.

    Raises InputError.
    """
    problems: list[Problem] = []
    if not is_exchange(Path(source)):
        expected = "a harness file of a design program, FILE.kbl; notes and sheets go with --notes"
        raise InputError([Problem("--from", None, "", visible(source), expected)])
    found = read_exchange(Path(source), problems)
    if found is None:
        raise InputError([problem for problem in problems if problem.severity == "error"])
    cavities = {name: _cavities(names) for name, names in found.cavities.items()}
    more = dict(answers.more)
    if found.lie is not None:
        more[BRANCHES] = branches_csv(found.lie)
    filled = replace(
        answers,
        name=answers.name if named else found.name,
        cavities={**cavities, **answers.cavities},
        places=found.places,
        wires=_wires(found),
        more=more,
    )
    return filled, problems


def _wires(found: Exchanged) -> tuple[NotedWire, ...]:
    return tuple(
        NotedWire(
            line=row.line,
            start=row.start,
            end=row.end,
            wire=row.name,
            colour=row.colour,
            size=row.size,
            length=row.length,
            kind=row.kind,
            circuit=row.circuit,
            note=row.note,
        )
        for row in found.rows
    )


def _cavities(names: tuple[str, ...]) -> str:
    """As harness.toml has them: a count where they are numbered through, else a list."""
    if names == tuple(str(number) for number in range(1, len(names) + 1)):
        return str(len(names))
    return "[" + ", ".join(json.dumps(name, ensure_ascii=False) for name in names) + "]"


def branches_csv(lie: Lie) -> str:
    """A branches.csv that says the same."""
    out = io.StringIO()
    out.write("# How the loom lies: one row for each branch. A row without to says where it lies (metres).\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(BRANCH_COLUMNS)
    writer.writerows(branch_rows(lie))
    return out.getvalue()
