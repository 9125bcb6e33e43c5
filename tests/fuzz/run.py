"""Fuzzes readers with atheris (libFuzzer on Python), one process a reader.

    pip install -e '.[fuzz]'
    python -m tests.fuzz.run [TARGET ...] [--inputs 100000] [--out FOLDER]

prints one line a reader: inputs tried, failures (a traceback, a wrong read, over 10 s, over 1 GB), the
highest memory and the longest input's time. What fails is written to FOLDER; it belongs in
tests/fuzz/seeds/TARGET, where the suite tries it every time. Ends with status 1 when anything failed.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

import loomtest

_READERS = (
    "loomtest.harness", "loomtest.readings", "loomtest.evidence.archive", "loomtest.bench.session.by_hand",
    "loomtest.bench.meter.protocol", "loomtest.bench.scanner.protocol", "loomtest.bench.meter.stream",
)  # fmt: skip
SEEDS = Path(__file__).parent / "seeds"
_DONE = re.compile(r"stat::number_of_executed_units:\s+(\d+)")
_PEAK = re.compile(r"stat::peak_rss_mb:\s+(\d+)")
_SLOWEST = re.compile(r"stat::slowest_unit_time_sec:\s+(\d+)")


def fuzz(name: str, arguments: list[str]) -> None:
    """One reader in this process: never returns."""
    import atheris

    with atheris.instrument_imports(include=["loomtest"], enable_loader_override=False):
        for module in walk_packages(loomtest.__path__, "loomtest."):  # what a target imports later too
            if module.name.startswith(_READERS):
                import_module(module.name)
        from tests.fuzz.targets import TARGETS
    target = TARGETS[name]

    def once(data: bytes) -> None:
        target.run(data)

    atheris.Setup([sys.argv[0], *arguments], once)
    atheris.Fuzz()


def one(name: str, inputs: int, out: Path) -> tuple[int, int, int, int]:
    """(inputs tried, failures, peak MB, slowest seconds) of one reader."""
    from tests.fuzz.targets import TARGETS

    target = TARGETS[name]
    with tempfile.TemporaryDirectory() as corpus:
        for number, seed in enumerate(target.seeds):
            (Path(corpus) / f"seed{number}").write_bytes(seed)
        words = Path(corpus).with_suffix(".dict")
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in target.words), "ascii")
        tried = failures = peak = slowest = 0
        while tried < inputs and failures < 20:
            options = [
                f"-runs={inputs - tried}", "-timeout=10", "-rss_limit_mb=1024", f"-max_len={target.longest}",
                f"-dict={words}", f"-artifact_prefix={out / name}-", "-print_final_stats=1", "-verbosity=0",
                f"-seed={failures + 1}", corpus,
            ]  # fmt: skip
            command = [sys.executable, "-m", "tests.fuzz.run", "--inside", name, *options]
            done = subprocess.run(command, capture_output=True, check=False)
            said = done.stderr.decode("utf-8", "replace") + done.stdout.decode("utf-8", "replace")
            (out / f"{name}.{failures}.log").write_text(said, "utf-8")
            tried += _number(_DONE, said)
            peak, slowest = max(peak, _number(_PEAK, said)), max(slowest, _number(_SLOWEST, said))
            if done.returncode == 0:
                break
            failures += 1
        words.unlink()
    return tried, failures, peak, slowest


def _number(pattern: re.Pattern[str], said: str) -> int:
    found = pattern.search(said)
    return int(found[1]) if found else 0


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word)


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        fuzz(sys.argv[2], sys.argv[3:])
    from tests.fuzz.targets import TARGETS

    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("targets", nargs="*", help=", ".join(TARGETS))
    options.add_argument("--inputs", type=int, default=100_000)
    options.add_argument("--out", type=Path, default=Path("fuzz-findings"))
    chosen = options.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    failed = total = 0
    for name in chosen.targets or TARGETS:
        tried, failures, peak, slowest = one(name, chosen.inputs, chosen.out)
        print(
            f"{name:<14} {tried:>8} inputs, {failures} failures, {peak} MB, slowest {slowest} s", flush=True
        )
        failed, total = failed + failures, total + tried
    print(f"{total} inputs, {failed} failures")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
