"""A meter that is not there: a scripted conversation, or a simulated loom with a hand at the probes.

A script has one instruction a line (`#` begins a comment):

    tool says *IDN?          waits until the program has sent this
    meter says 0.42 ohm      the meter sends this and the end of a line (\\x00, \\r and the like are bytes)
    every 0.25               seconds before each thing that the meter says on its own
    hold 3                   the last thing said (or asked and said) again and again for so many seconds
    wait 1.5                 nothing happens
    unplug 4                 the cable is out for so many seconds
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from loomtest.errors import InputError, InstrumentError, Problem

Clock = Callable[[], float]
PREFIX = "rehearse:"
_INSTRUCTION = re.compile(r"(tool says|meter says|every|hold|wait|unplug)(?: (.*))?")


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """One instruction, with the line of the script it stands on."""

    number: int
    what: str
    text: str
    seconds: float = 0.0


def read_script(path: Path) -> list[ScriptLine]:
    """The instructions of a script. Raises InputError with every line that is none."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError([Problem(str(path), None, "", str(error), "a script for a rehearsal")]) from None
    lines, problems = [], []
    for number, raw in enumerate(text.splitlines(), 1):
        if not raw.strip() or raw.lstrip().startswith("#"):
            continue
        match = _INSTRUCTION.fullmatch(raw.strip())
        expected = "tool says …, meter says …, every, hold, wait or unplug with seconds"
        if match is None:
            problems.append(Problem(str(path), number, "", repr(raw.strip()[:40]), expected))
            continue
        what, rest = match[1], match[2] or ""
        if what.endswith("says"):
            lines.append(ScriptLine(number, what, rest))
            continue
        try:
            lines.append(ScriptLine(number, what, rest, float(rest)))
        except ValueError:
            problems.append(Problem(str(path), number, what, repr(rest), "a number of seconds"))
    if problems:
        raise InputError(problems)
    return lines


class ScriptedPort:
    """Plays a script to whoever reads and writes; `finished` is True when every line was consumed."""

    def __init__(self, script: list[ScriptLine], clock: Clock, end: bytes = b"\r\n") -> None:
        self._script, self._clock, self._end = script, clock, end
        self._at = 0
        self._every_s = 0.0
        self._due_s = clock()
        self._sent = b""
        self._asked = self._asked_before = self._said = ""
        self._hold_until_s: float | None = None
        self._gone_until_s: float | None = None

    @property
    def finished(self) -> bool:
        """Whether the whole script was played."""
        return self._at >= len(self._script)

    def write(self, data: bytes) -> None:
        """The program says something."""
        self._check_plugged()
        self._sent += data

    def read(self) -> bytes:
        """What the meter says by now. Raises OSError while the cable is out."""
        self._check_plugged()
        out = b""
        while not self.finished and (piece := self._step(self._script[self._at])) is not None:
            out += piece
            if self._gone_until_s is not None:
                break
        return out

    def close(self) -> None:
        """The port is closed; the script goes on when it is opened again."""

    def reopen(self) -> ScriptedPort:
        """The same port, once the cable is in again. Raises InstrumentError before."""
        if self._gone_until_s is not None:
            if self._clock() < self._gone_until_s:
                raise InstrumentError("the cable is out")
            self._gone_until_s, self._sent, self._due_s = None, b"", self._clock()
        return self

    def _check_plugged(self) -> None:
        if self._gone_until_s is not None:
            raise OSError("the cable is out")

    def _step(self, line: ScriptLine) -> bytes | None:
        """Play one line as far as the time allows; None where it has to wait."""
        now = self._clock()
        if line.what == "tool says":
            return self._expect(line)
        if line.what == "hold":
            return self._hold(line, now)
        if line.what == "every":
            self._every_s = line.seconds
        elif line.what == "unplug":
            self._gone_until_s = now + line.seconds
        elif line.what == "wait":
            self._due_s = max(self._due_s, now) + line.seconds
        else:
            wait_s = 0.0 if self._asked else self._every_s
            if now < self._due_s + wait_s:
                return None
            self._due_s = now if self._asked else self._due_s + wait_s
            self._said = line.text
            self._at += 1
            self._asked_before, self._asked = self._asked, ""
            return self._bytes(line.text)
        self._at += 1
        return b""

    def _expect(self, line: ScriptLine) -> bytes | None:
        wanted = self._plain(line.text)
        if len(self._sent.strip()) < len(wanted):
            return None
        sent, rest = self._sent.lstrip(), b""
        if not sent.startswith(wanted):
            found = sent.decode("ascii", "replace").strip()
            raise InstrumentError(f"script line {line.number}: the program said {found!r}, not {line.text!r}")
        rest = sent[len(wanted) :].lstrip(b"\r\n")
        self._sent, self._asked = rest, line.text
        self._due_s = self._clock()
        self._at += 1
        return b""

    def _hold(self, line: ScriptLine, now: float) -> bytes | None:
        if self._hold_until_s is None:
            self._hold_until_s = now + line.seconds
        if now >= self._hold_until_s:
            self._hold_until_s, self._due_s = None, now
            self._at += 1
            return b""
        if self._asked_before:
            wanted = self._plain(self._asked_before)
            if not self._sent.strip().startswith(wanted):
                return None
            self._sent = self._sent.lstrip()[len(wanted) :].lstrip(b"\r\n")
            return self._bytes(self._said)
        if now < self._due_s + max(self._every_s, 1e-3):
            return None
        self._due_s = now if now - self._due_s > 1.0 else self._due_s + max(self._every_s, 1e-3)
        return self._bytes(self._said)

    def _plain(self, text: str) -> bytes:
        return text.encode("utf-8").decode("unicode_escape").encode("latin-1").strip()

    def _bytes(self, text: str) -> bytes:
        if "\\" in text:
            return text.encode("latin-1", "replace").decode("unicode_escape").encode("latin-1") + self._end
        return text.encode("utf-8") + self._end
