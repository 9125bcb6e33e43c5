"""The invented loom that `loomtest bench --demo` opens, with a fault in it."""

from __future__ import annotations

import shutil
import tempfile
from importlib.resources import as_file, files
from pathlib import Path


def rehearsed_folder() -> Path:
    """A fresh copy of the invented tractor's loom, in a folder of its own among the temporary ones."""
    place = Path(tempfile.mkdtemp(prefix="loomtest-demo-")) / "orchard tractor (invented)"
    place.mkdir()
    with as_file(files("loomtest.data")) as data:
        for name in ("harness.toml", "wires.csv"):
            shutil.copy(data / "demo" / "orchard_tractor" / name, place / name)
    return place
