"""The names of open harness files, which may say a configuration: `FILE.kbl#NAME`."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import quote, unquote

ENDING = ".kbl"


def split_configuration(path: Path) -> tuple[Path, str]:
    """`FILE.kbl#NAME`, or a copy that `copy_name` named, as the file and the name; "" where none is given."""
    match = re.fullmatch(r"(.*\.kbl)#(.+)", str(path), re.IGNORECASE | re.DOTALL)
    if match:
        return Path(match[1]), match[2]
    kept = re.fullmatch(r".*#configuration=(.+)\.kbl", path.name, re.IGNORECASE)
    return path, unquote(kept[1]) if kept else ""


def is_exchange(path: Path) -> bool:
    """Whether the name is that of such a file, with or without a configuration."""
    return split_configuration(path)[0].suffix.casefold() == ENDING


def copy_name(path: Path) -> str:
    """The name of a copy of the file that still says which configuration was meant."""
    file, configuration = split_configuration(path)
    if not configuration or file == path:
        return file.name
    return f"{file.stem}#configuration={quote(configuration, safe=' ')}{ENDING}"
