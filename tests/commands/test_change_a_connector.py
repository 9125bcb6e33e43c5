"""The how-to on changing a connector prints what the program prints now."""

from __future__ import annotations

from pathlib import Path

from tests.documents import ROOT, printed

PAGE = ROOT / "docs" / "change-a-connector.md"


def test_every_command_of_the_page(tmp_path: Path) -> None:
    told = []
    for block, status, output in printed(PAGE, tmp_path):
        assert (status, output) == (block.status, block.text), block.what
        told.append(block.what.split()[1])
    assert told == ["swap", "swap", "check", "judge", "compare"]
    picture = (ROOT / "docs" / "pictures" / "pinout.svg").read_text(encoding="utf-8")
    assert (tmp_path / "helm_new" / "pinout.svg").read_text(encoding="utf-8") == picture
