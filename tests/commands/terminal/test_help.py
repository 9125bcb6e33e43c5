"""Help of every verb and option, examples that parse, mistakes in one line, progress that keeps quiet."""

from __future__ import annotations

import io
import os
import re
import shlex
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import typer

from loomtest.commands.app import app
from loomtest.commands.terminal.help import ENDS, JOB, ends, entries, examples, told
from loomtest.commands.terminal.progress import Progress
from loomtest.commands.terminal.verbs import INSTRUMENT_HELP
from tests.commands.in_process import loomtest

GROUP: Any = typer.main.get_command(app)
VERBS: dict[str, Any] = dict(GROUP.commands)
ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_and_option_says_what_it_is(verb: str) -> None:
    command = VERBS[verb]
    summary, _, _ = told(command)
    assert len(summary) > 20 and summary.endswith(".")
    for entry in entries(command):
        assert len(entry.text) > 8 and entry.text[0].isupper() and entry.text.rstrip(")")[-1] == ".", entry
        assert "VALUE" not in entry.written, entry
    page = loomtest(verb, "--help").stdout
    for entry in entries(command):
        assert re.search(rf"^  {re.escape(entry.written)}$", page, re.MULTILINE), entry.written
    for status, _ in ends(verb):
        assert re.search(rf"^ +{status}  \w", page, re.MULTILINE), status


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_an_example_that_parses(verb: str) -> None:
    shown = examples(VERBS[verb])
    assert shown
    for example in shown:
        program, name, *words = shlex.split(example)
        assert (program, name) == ("loomtest", verb)
        VERBS[verb].make_context(verb, words)  # raises on anything it does not know


def test_an_example_that_does_not_parse_would_be_seen() -> None:
    with pytest.raises(Exception, match=r"(?i)no such option"):
        VERBS["judge"].make_context("judge", ["a", "b", "--nonsense"])


def test_the_layout_is_our_own_and_fits_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for width in (80, 50):
        monkeypatch.setenv("COLUMNS", str(width))
        for arguments in ((), ("--help",), *((verb, "--help") for verb in VERBS)):
            page = loomtest(*arguments).stdout
            long = [line for line in page.splitlines() if len(line) > (80 if not arguments else width)]
            # one name may be longer than a narrow terminal: it is never broken
            assert [line for line in long if len(line.split()) > 1] == [], arguments
            assert not re.search(r"[─-╿]|^Usage:|^Options:|^Commands:|<str>|<path>", page, re.MULTILINE)


def test_the_front_page_holds_every_verb_in_the_order_of_the_job() -> None:
    assert sorted(name for _, names in JOB for name in names) == sorted(VERBS)
    assert set(ENDS) <= set(VERBS)
    page = loomtest("--help").stdout
    places = [page.index(f"\n  {name} ") for _, names in JOB for name in names]
    assert places == sorted(places)


def test_without_a_verb_it_says_where_to_begin_and_what_is_dangerous() -> None:
    done = loomtest()
    assert done.returncode == 0
    for words in (
        "loomtest new",
        "loomtest demo",
        "negative off first",
        "belt-tensioner",
        "unplugged",
        "fuses",
        "licensed",
    ):
        assert words in done.stdout


def test_the_meters_named_in_the_help_are_those_that_come_along() -> None:
    files = {path.stem for path in (ROOT / "loomtest" / "data" / "instruments").glob("*.toml")}
    assert set(re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", INSTRUMENT_HELP)) == files


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["jugde"], 'command: found "jugde"; expected judge'),
        (["judge", "a"], "judge: found no READINGS; expected loomtest judge HARNESS READINGS"),
        (["log", "a"], "log: found no --out FOLDER; expected loomtest log HARNESS --out FOLDER"),
        (["swap", "a", "--out", "b"], "swap: found no MAP"),
        (["compare", "a", "b", "c", "d"], "compare: found d too much; expected loomtest compare HARNESS"),
        (["judge", "a", "b", "--instrment", "x"], "found no option --instrment; expected --instrument"),
        (["plan", "a", "--isolation", "foo"], "plan: --isolation: 'foo' is not one of 'full'"),
        (["log", "a", "--out", "b", "--scans", "x"], "log: --scans: "),
        (["keep"], "keep: RUN: give one of RUN"),
        (["--foo"], "found no option --foo; expected --version"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_command_is_one_line(arguments: list[str], says: str) -> None:
    done = loomtest(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1 and done.stderr.startswith("loomtest: ")
    assert says in done.stderr


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_speaks_after_its_time_and_leaves_nothing() -> None:
    stream = Terminal()
    with Progress("reading a.csv", stream=stream, after_s=0.0) as progress:
        deadline = time.monotonic() + 10
        while "reading a.csv: 0 s" not in stream.getvalue() and time.monotonic() < deadline:
            time.sleep(0.01)
        progress.say("judging")
        while "judging" not in stream.getvalue() and time.monotonic() < deadline:
            time.sleep(0.01)
    text = stream.getvalue()
    assert "reading a.csv: 0 s" in text and "judging: " in text
    assert re.search(r"\r {18,}\r$", text)


@pytest.mark.parametrize(("stream", "quiet"), [(io.StringIO(), False), (Terminal(), True)])
def test_progress_is_silent_where_nobody_looks_or_wants_it(stream: io.StringIO, quiet: bool) -> None:
    with Progress("reading", quiet, stream, after_s=0.0):
        time.sleep(0.05)
    assert stream.getvalue() == ""


def test_what_is_quick_says_nothing_even_on_a_terminal() -> None:
    stream = Terminal()
    with Progress("reading", stream=stream):
        pass
    assert stream.getvalue() == ""


@pytest.mark.skipif(os.name == "nt", reason="a pseudo-terminal is POSIX")
@pytest.mark.parametrize("no_color", ["", "1"])
def test_no_color_is_honoured_on_a_terminal(no_color: str, tmp_path: Path) -> None:
    import pty

    (tmp_path / "wires.csv").write_text("from,to\nX1:1,X2:1\n")
    (tmp_path / "readings.csv").write_text("from,to,value\nX1:1,X2:1,OL\n")
    master, slave = pty.openpty()
    environment = {**os.environ, "NO_COLOR": no_color, "TERM": "xterm"}
    command = [sys.executable, "-m", "loomtest", "judge", "wires.csv", "readings.csv"]
    done = subprocess.Popen(
        command, cwd=tmp_path, env=environment, stdout=slave, stderr=slave, close_fds=True
    )
    os.close(slave)
    shown = b""
    while True:
        try:
            piece = os.read(master, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(master)
    assert done.wait() == 1 and b"open" in shown
    assert (b"\x1b[" in shown) == (not no_color)
