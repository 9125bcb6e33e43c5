"""`open-this-first.html`, at the top of a kept run: what it is, and how to check it without this program."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from loomtest.diagnosis.verdict import Verdict
from loomtest.evidence.page.customer import CUSTOMER_FILE
from loomtest.evidence.page.page import page_hash, with_palette
from loomtest.evidence.page.templates import templates
from loomtest.harness.model import Harness
from loomtest.words import customer as words
from loomtest.words.conditions import REHEARSAL
from loomtest.words.plain import headline

_BOTH = "tagmanifest-sha256.txt manifest-sha256.txt"
# GNU coreutils; macOS has `shasum` with the same options but `--quiet`, which it knows since 10.14 (6.02).
LINUX = f"sha256sum -c --quiet {_BOTH} && sha256sum tagmanifest-sha256.txt"
MAC = f"shasum -a 256 -c {_BOTH} && shasum -a 256 tagmanifest-sha256.txt"
# Get-Content, ForEach-Object and Get-FileHash are in Windows PowerShell 4.0 and later; -ne takes no notice of
# small and large letters, and a file that is not there has no hash, which differs.
WINDOWS = (
    f"Get-Content -Encoding UTF8 {_BOTH.replace(' ', ', ')} | ForEach-Object {{ $d, $f = $_ -split '  ', 2; "
    "$f = $f.Replace('%25', '%'); if ((Get-FileHash -Algorithm SHA256 -LiteralPath $f).Hash -ne $d) "
    '{ "CHANGED: $f" } }; (Get-FileHash -Algorithm SHA256 tagmanifest-sha256.txt).Hash.ToLower()'
)
_CHECKS = (
    {"system": "Windows, in PowerShell", "line": WINDOWS},
    {"system": "Linux", "line": LINUX},
    {"system": "macOS", "line": MAC},
)
_LINKS = (
    (f"data/report/{CUSTOMER_FILE}", "The page for the customer", "what was wrong, and what it measures now"),
    ("data/report/report.html", "The report", "every circuit, every wire, how it was measured"),
    ("data/verdict.json", "The verdict", "the same for a program"),
    ("data/run/readings.csv", "The readings", "as they were taken"),
    ("data/run/readings.csv.xz", "The readings", "as they were taken, packed (xz)"),
    ("data/before/readings.csv", "The readings before the work", "as they were taken"),
)  # fmt: skip


def opening_page(bag: Path, info: Mapping[str, str], harness: Harness, verdict: Verdict) -> str:
    """The page of a bag whose payload stands; `info` is what its bag-info.txt says."""
    from markupsafe import Markup

    here = Path(__file__).parent
    style = with_palette((here / "opening.css").read_text(encoding="utf-8"))
    links = [{"to": to, "name": name, "text": text} for to, name, text in _LINKS if (bag / to).is_file()]
    context: dict[str, Any] = {
        "style": Markup(style),
        "style_hash": page_hash(style),
        "harness": harness.name,
        "rehearsal": REHEARSAL if verdict.rehearsal else "",
        "say": headline(verdict, harness),
        "about": _about(info),
        "says_only": words.SAYS_ONLY,
        "links": links,
        "pages": (bag / "data" / "report").is_dir(),
        "bag": info.get("External-Identifier", ""),
        "closed": info.get("Bagging-Date", ""),
        "checks": _CHECKS,
        "footer": f"Made with loomtest {info.get('Tool-Version', '')}.",
    }
    return templates(here).get_template("opening.html").render(context)


def _about(info: Mapping[str, str]) -> list[tuple[str, str]]:
    rows = (
        ("For", "Customer"),
        ("Job", "Job"),
        ("Unit", "Unit"),
        ("Stage", "Stage"),
        ("Measured", "Run-Started"),
        ("By", "Operator"),
        ("At bench", "Bench"),
        ("Kept as", "External-Identifier"),
    )
    return [(name, info[label]) for name, label in rows if info.get(label)]
