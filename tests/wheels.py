"""Asks the package index for a wheel of every dependency, for each system and processor: nobody compiles.

python -m tests.wheels
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PYTHON = "3.12"
# Tags as pip takes them; a macOS of version n also takes wheels made for older ones.
_OLD = ((10, 9), (10, 12), (10, 13), (10, 14), (10, 15), (11, 0), (12, 0), (13, 0), (14, 0))
SYSTEMS = {
    "Windows, x86-64": ("win_amd64",),
    "Windows, ARM": ("win_arm64",),
    "macOS, Intel": tuple(f"macosx_{a}_{b}_{kind}" for a, b in _OLD for kind in ("x86_64", "universal2")),
    "macOS, Apple": tuple(
        f"macosx_{major}_0_{kind}" for major in (11, 12, 13, 14) for kind in ("arm64", "universal2")
    ),
    "Linux, x86-64": ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
}
SOURCE_ONLY = ("bagit",)  # one file of pure Python, without a wheel: nothing of it is compiled


def missing(platforms: tuple[str, ...]) -> str:
    """What pip says where a dependency has no wheel; "" where all have one."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    with tempfile.TemporaryDirectory() as place:
        options = [
            "--dry-run",
            "--ignore-installed",
            "--quiet",
            "--only-binary=:all:",
            "--implementation",
            "cp",
        ]
        options += ["--target", place, "--python-version", PYTHON]
        options += ["--abi", "cp312", "--abi", "abi3", "--abi", "none"]
        options += [word for name in (*platforms, "any") for word in ("--platform", name)]
        wanted = [
            each.partition(";")[0]  # pip would ask its marker of this machine
            for each in project["dependencies"]
            if not each.startswith(SOURCE_ONLY) and wanted_there(each, platforms)
        ]
        command = [sys.executable, "-m", "pip", "install", *options, *wanted]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    return (
        ""
        if done.returncode == 0
        else "\n".join(line for line in done.stderr.splitlines() if line.startswith("ERROR"))
    )


def wanted_there(dependency: str, platforms: tuple[str, ...]) -> bool:
    """Whether the dependency is one there: a marker may leave out a processor."""
    marker = Requirement(dependency).marker
    windows = platforms[0].startswith("win_")
    machine = platforms[0].removeprefix("win_").upper() if windows else platforms[0].rpartition("_")[2]
    system = {"platform_machine": machine, "platform_system": "Windows" if windows else "other"}
    return marker is None or marker.evaluate(system)


def main() -> int:
    """Print one line a system; 1 where anything is missing."""
    bad = 0
    for name, platforms in SYSTEMS.items():
        said = missing(platforms)
        print(f"{name}: {said or 'every dependency has a wheel'}")
        bad |= bool(said)
    return bad


if __name__ == "__main__":
    sys.exit(main())
