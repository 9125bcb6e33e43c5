"""A file to double-click on the desktop of each system."""

from __future__ import annotations

import sys
from pathlib import Path

from loomtest.errors import InputError, Problem


def lay_on_desktop(folder: Path) -> Path:
    """Write the file that starts the bench page of `folder`; where it was laid. Raises InputError.

    What it starts is the Python that runs now, so that it needs no PATH.
    """
    place = folder.resolve()
    name, text = launcher(sys.platform, Path(sys.executable), place)
    desktop = Path.home() / "Desktop"
    if not desktop.is_dir():
        expected = "a folder Desktop in your home folder"
        raise InputError([Problem(str(desktop), None, "", "no such folder", expected)])
    file = desktop / name
    try:
        file.write_text(text, encoding="utf-8", newline="\r\n" if sys.platform == "win32" else "\n")
        file.chmod(0o755)
    except OSError as error:
        expected = "a desktop that can be written to"
        found = (error.strerror or str(error)).lower()
        raise InputError([Problem(str(file), None, "", found, expected)]) from error
    return file


def launcher(system: str, python: Path, folder: Path) -> tuple[str, str]:
    """Name and text of the file to double-click, for `system` as sys.platform calls it."""
    if system == "win32":
        lines = ["@echo off", "title loomtest bench", f'"{python}" -m loomtest bench "{folder}"']
        return "Loom bench.cmd", "\n".join([*(line.replace("%", "%%") for line in lines), "pause", ""])
    if system == "darwin":
        return "Loom bench.command", f"#!/bin/sh\nexec {_sh(python)} -m loomtest bench {_sh(folder)}\n"
    command = f"{_desktop(python)} -m loomtest bench {_desktop(folder)}"
    entry = ["[Desktop Entry]", "Type=Application", "Name=Loom bench", f"Exec={command}", "Terminal=true", ""]
    return "loom-bench.desktop", "\n".join(entry)


def _sh(path: Path) -> str:
    return "'" + str(path).replace("'", "'\\''") + "'"


def _desktop(path: Path) -> str:
    """An argument as the Desktop Entry Specification quotes it (its section on Exec; from memory)."""
    text = str(path)
    for letter in '\\"`$':
        text = text.replace(letter, "\\" + letter)
    return '"' + text.replace("\\", "\\\\").replace("%", "%%") + '"'
