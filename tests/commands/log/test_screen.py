"""The session's screens, as tmux shows them, are the ones that were looked at and kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands.log.session_screens import KEPT, SIZES, screens


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_every_screen_is_the_one_that_was_kept(tmp_path: Path, width: int, height: int) -> None:
    for name, screen in screens(tmp_path, width, height):
        kept = (KEPT / f"{name}_{width}x{height}.txt").read_text("utf-8")
        assert screen == kept, f"{name} at {width}x{height}: look at it, then run session_screens.py"
        lines = screen.splitlines()
        assert len(lines) == height
        assert max(map(len, lines)) <= width
