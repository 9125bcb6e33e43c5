"""docs/build-the-scanner.md: the scan in parts that it shows is what the program says."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.commands.in_process import loomtest
from tests.documents import ROOT

PAGE = ROOT / "docs" / "build-the-scanner.md"


def test_the_parts_of_the_page_are_those_that_are_asked_for(tmp_path: Path) -> None:
    text = PAGE.read_text(encoding="utf-8")
    wires, commands, shown = re.findall(r"```\w*\n(.*?)```", text.split("## More points than pins")[1], re.S)[
        :3
    ]
    (tmp_path / "wires.csv").write_text(wires, encoding="utf-8")
    log, judge = (line.split()[1:] for line in commands.strip().splitlines())
    said = loomtest(*log, cwd=tmp_path, typed="\n" * 20)
    assert shown.strip() in said.stdout
    assert (tmp_path / "lead_sets.csv").is_file()
    told = json.loads(loomtest(*judge, "--json", cwd=tmp_path).stdout)
    assert told["coverage"]["wires_tested"] == 12
    assert told["coverage"]["isolation_pairs"] == told["coverage"]["isolation_pairs_tested"]
