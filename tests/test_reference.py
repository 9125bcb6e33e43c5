"""docs/reference.md is what the code has now; the glossary and the how-tos keep to it."""

from __future__ import annotations

import re
from pathlib import Path

from loomtest.harness.model import Expect, Limits
from tests.reference import PAGE, page

DOCS = Path(__file__).parents[1] / "docs"


def test_the_reference_is_what_the_code_has() -> None:
    """Mend with `PYTHONPATH=. python tests/reference.py`."""
    assert PAGE.read_text("utf-8") == page()


def test_the_glossary_is_in_order_and_says_each_word_once() -> None:
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \|$", (DOCS / "glossary.md").read_text("utf-8"), re.MULTILINE)
    words = [row.casefold() for row in rows if row not in ("word", "---")]
    assert len(words) > 40
    assert words == sorted(set(words))


def test_every_option_in_the_pages_is_one_of_a_command() -> None:
    known = set(re.findall(r"--[a-z][a-z-]+", PAGE.read_text("utf-8")))
    elsewhere = {"--help", "--version", "--check"}  # sha256sum's
    for name in (
        "corroded-ground",
        "before-you-wrap",
        "milliohms",
        "spreadsheet",
        "share-evidence",
        "customer-page",
        "station",
        "notebook",
    ):
        text = (DOCS / f"{name}.md").read_text("utf-8")
        found = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text))
        assert found <= known | elsewhere, name


def test_the_limits_page_says_where_each_limit_comes_from() -> None:
    text = (DOCS / "limits.md").read_text("utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| `")]
    told = {key: row[-1] for row in rows for key in re.findall(r"`(\w+)`", row[0])}
    keys = {*Limits.__dataclass_fields__, *Expect.__dataclass_fields__} - {
        "bad_joint_written",
        "isolation_written",
    }
    assert set(told) == keys
    assert all(len(source) > 10 for source in told.values())
    defaults = {row[0].strip("`"): row[1] for row in rows}
    for key, unit in (("bad_joint_milliohms", " mΩ"), ("joint_drop_volts", " V"), ("system_volts", " V")):
        assert defaults[key] == f"{getattr(Limits(), key):g}{unit}"
