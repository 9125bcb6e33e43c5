"""What a screen sends as JSON."""

from __future__ import annotations

import json
from typing import Any


def json_object(sent: str | bytes) -> dict[str, Any] | None:
    """The object in a JSON text; None for anything else, and for letters that no file can hold."""
    try:
        given = json.loads(sent)
        json.dumps(given, ensure_ascii=False).encode("utf-8")  # half of a surrogate pair is no letter
    except (ValueError, RecursionError):
        return None
    return given if isinstance(given, dict) else None
