"""Slices of fuzzing with atheris (libFuzzer on Python), and what is kept between them.

A reader's folder holds `corpus` (inputs that reach something new), `found` (what failed) and `progress.json`.
The package is instrumented once; each slice is a fork of the program that did it.
"""

from __future__ import annotations

import io
import json
import os
import random
import re
import shutil
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from contextlib import redirect_stderr
from dataclasses import asdict, dataclass
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import Any

import loomtest

MOST_FAILURES = 20  # of one reader; then it is for a person to look
SLICE_S = 60
SLICE_INPUTS = 5000  # what atheris notes of comparisons is never given back: up to 100 KB an input
_READERS = (
    "loomtest.harness", "loomtest.readings", "loomtest.evidence.archive", "loomtest.evidence.page",
    "loomtest.bench.session.by_hand", "loomtest.bench.meter", "loomtest.bench.scanner", "loomtest.web",
)  # fmt: skip
_DONE = re.compile(r"stat::number_of_executed_units:\s+(\d+)")
_PEAK = re.compile(r"stat::peak_rss_mb:\s+(\d+)")
_SLOWEST = re.compile(r"stat::slowest_unit_time_sec:\s+(\d+)")
_RAISED = re.compile(r"=== Uncaught Python exception: ===\n(.*)")
_DIED = re.compile(r"ERROR: libFuzzer: (.*)")


@dataclass
class Progress:
    """What came of one reader so far. `seconds`: how long it was fuzzed; `failures`: what each said."""

    inputs: int = 0
    seconds: int = 0
    peak_mb: int = 0
    slowest_s: int = 0
    failures: list[str] | None = None

    @property
    def failed(self) -> int:
        return len(self.failures or ())


def progress_of(folder: Path) -> Progress:
    """What stands in a reader's folder; nothing yet, where it is new."""
    file = folder / "progress.json"
    return Progress(**json.loads(file.read_text("utf-8"))) if file.is_file() else Progress()


def instrument() -> None:
    """Load the package so that atheris sees where an input leads. Once, before the first slice."""
    import atheris

    quiet = redirect_stderr(io.StringIO())  # it names every module
    with quiet, atheris.instrument_imports(include=list(_READERS), enable_loader_override=False):
        for module in walk_packages(loomtest.__path__, "loomtest."):  # what a target imports later too
            if module.name.startswith(_READERS):
                import_module(module.name)
    import_module("tests.fuzz.targets")


def one_slice(name: str, folder: Path, inputs: int, seconds: int) -> Progress:
    """Fuzz one reader for so many inputs (5,000 at most) or so long, in its own process; its progress."""
    from tests.fuzz.targets import TARGETS

    target, so_far = TARGETS[name], progress_of(folder)
    corpus, found = folder / "corpus", folder / "found"
    for place in (corpus, found):
        place.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(target.seeds):
        (corpus / f"seed{number}").write_bytes(seed)
    words = folder / "words.dict"
    words.write_text("".join(f'"{_escaped(word)}"\n' for word in target.words), "ascii")
    known = sum(1 for _ in corpus.iterdir())
    options = [
        f"-runs={min(inputs, SLICE_INPUTS) + known}", f"-max_total_time={seconds}", "-timeout=10",
        "-rss_limit_mb=1024",
        f"-max_len={target.longest}", f"-dict={words}", f"-artifact_prefix={found}{os.sep}",
        "-print_final_stats=1", "-verbosity=0", f"-seed={so_far.inputs % 2**31 + 1}", str(corpus),
    ]  # fmt: skip
    log = folder / "last.log"
    begun_s = time.monotonic()
    child = os.fork()
    if child == 0:
        _fuzz(name, options, log)
    _, status = os.waitpid(child, 0)
    for memory in (Path("/dev/shm"), Path(tempfile.gettempdir())):  # libFuzzer ends without tidying up
        for left in memory.glob(f"loomtest-fuzz-{child}-*"):
            shutil.rmtree(left, ignore_errors=True)
    said = log.read_text("utf-8", "replace")
    so_far.inputs += max(0, _number(_DONE, said) - known)  # what it knew already is no input tried
    so_far.seconds += round(time.monotonic() - begun_s)
    so_far.peak_mb = max(so_far.peak_mb, _number(_PEAK, said))
    so_far.slowest_s = max(so_far.slowest_s, _number(_SLOWEST, said))
    if status:
        told = _RAISED.search(said) or _DIED.search(said)
        so_far.failures = [*(so_far.failures or []), (told[1] if told else f"ended with {status}")[:300]]
        log.replace(folder / f"failure-{so_far.failed}.log")
    (folder / "progress.json").write_text(json.dumps(asdict(so_far), indent=1), "utf-8")
    return so_far


def _fuzz(name: str, options: list[str], log: Path) -> None:
    """In the forked process: ends the program."""
    import atheris

    from tests.fuzz.changes import changed
    from tests.fuzz.targets import TARGETS

    try:
        out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        target = TARGETS[name]

        def once(data: bytes) -> None:
            target.run(data)

        def mutate(data: bytes, most: int, seed: int) -> bytes:
            chance = random.Random(seed)
            if chance.random() < 0.5:
                return bytes(atheris.Mutate(data, most))
            return changed(data, target.seeds, target.words, most, chance)

        setup: Callable[..., Any] = atheris.Setup
        setup([sys.argv[0], *options], once, custom_mutator=mutate)
        atheris.Fuzz()
    except Exception:
        traceback.print_exc()
        os._exit(70)


def _number(pattern: re.Pattern[str], said: str) -> int:
    found = pattern.search(said)
    return int(found[1]) if found else 0


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word)
