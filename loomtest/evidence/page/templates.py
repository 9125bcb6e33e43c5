"""How a page is made of its template: every text escaped and made visible; templates are compiled once."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loomtest.evidence.pictures.drawing import visible

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates(folder: Path) -> Environment:
    """The templates of a folder; a station makes hundreds of pages of them a day."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=lambda value: value if isinstance(value, Markup) or value is None else visible(str(value)),
    )
    environment.filters["parted"] = parted
    return environment


def parted(text: str) -> Any:
    """The text, with a place to break in every run of letters too long for a column."""
    from markupsafe import Markup

    runs = re.split(r"(\S{24})(?=\S)", visible(str(text)))
    return Markup("<wbr>" if len(runs) > 1 else "").join(run for run in runs if run)
