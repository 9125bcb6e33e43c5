"""A run that has ended, as the measuring screen shows it: to look at, and to go on with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from loomtest.readings.generic import generic_handheld
from loomtest.readings.instrument import load_instrument
from loomtest.readings.runfile import INSTRUMENT_FILE, events_of, read_run_file
from loomtest.web.place import Loom
from loomtest.web.rows import rows_of
from loomtest.words import web as words


def ended_as(run: Path) -> str:
    """How a run ended: complete, stopped; "" for one that is open, or that a crash left open."""
    events = events_of(read_run_file(run).raw)
    last = events[-1] if events else {}
    return (
        str(last.get("status", "")) if last.get("what") == "ended" and last.get("status") != "failed" else ""
    )


class PastSitting:
    """Nothing is written; a command is answered with how to go on."""

    meter = None

    def __init__(self, loom: Loom, folder: Path, status: str) -> None:
        self.loom, self.folder, self.ended = loom, folder, status
        self.harness = loom.harness()
        kept = folder / INSTRUMENT_FILE
        instrument = load_instrument(kept) if kept.is_file() else generic_handheld()
        self.rows = rows_of(folder, self.harness, instrument)

    def state(self) -> dict[str, Any]:
        """All that there is."""
        return {
            "kind": "state",
            "revision": 0,
            "run": self.folder.name,
            "ended": self.ended,
            "last_row": max(self.rows, default=0),
            "prompt": None,
            "question": None,
            "done": 0,
            "total": 0,
            "left": "",
            "leads": True,
            "meter": None,
            "said": {"text": "", "tone": "plain"},
            "bells": [],
            "rows": [row.to_json() for row in self.rows.values()],
        }

    def do(self, command: dict[str, Any]) -> dict[str, Any]:
        """Nothing is done."""
        said = {"text": words.RUN_HAS_ENDED, "tone": "doubt"}
        answers = str(command.get("id", ""))[:64]
        return {
            **self.state(),
            "kind": "change",
            "rows": [],
            "said": said,
            "answers": answers,
            "refused": True,
        }

    def hear(self) -> None:
        """No meter is heard."""

    def close(self) -> None:
        """Nothing is open."""
