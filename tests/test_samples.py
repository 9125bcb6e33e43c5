"""The sample runs: the generator still writes these bytes, and the package carries the same files."""

from __future__ import annotations

import runpy
from pathlib import Path

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_runs"
CARRIED = ROOT / "loomtest" / "data" / "demo"


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
    }


def test_the_generator_writes_the_same_bytes_again(tmp_path: Path) -> None:
    runpy.run_path(str(SAMPLES / "make_sample_runs.py"))["write"](tmp_path)
    written = files(tmp_path)
    samples = files(SAMPLES)
    assert len(written) == 3 * 5 + 2
    for name, content in written.items():
        assert samples[name] == content, name


def test_the_package_carries_the_same_files() -> None:
    assert files(CARRIED) == files(SAMPLES)


def test_everything_is_marked_as_invented() -> None:
    assert "invented" in (SAMPLES / "README.md").read_text(encoding="utf-8")
    for path in SAMPLES.rglob("*.toml"):
        assert "nvented" in path.read_text(encoding="utf-8").splitlines()[0], path
