"""How a sitting is held."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choices:
    """`live`: a meter is connected. `open_after_s`: an open is taken after so long (None: by key only)."""

    live: bool = True
    open_after_s: float | None = None
