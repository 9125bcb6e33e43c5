"""Under what conditions a verdict was reached, where they could make anything right: said first, not last."""

from __future__ import annotations

from loomtest.diagnosis.verdict import Verdict
from loomtest.harness.changed import Setting
from loomtest.readings.model import Job
from loomtest.words.numbers import counted

REHEARSAL = "REHEARSAL: a simulated meter. Nothing was measured on a real loom."


def conditions(verdict: Verdict) -> list[str]:
    """Withdrawn readings and changed settings, one sentence each; a rehearsal is said by `REHEARSAL`."""
    said = []
    if verdict.withdrawn:
        said.append(f"{counted(verdict.withdrawn, 'reading was', 'readings were')} taken back and not used.")
    if verdict.settings:
        listed = "; ".join(map(_setting, verdict.settings))
        said.append(f"Settings of your own: {listed}.")
    return said


def _setting(setting: Setting) -> str:
    name = setting.key.partition(".")[2]
    return f"{name} is {_plain(setting.value)} (usually {_plain(setting.usual)})"


def _plain(value: float | str) -> str:
    """A setting as its file would write it, without an exponent."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:,.6f}".rstrip("0").rstrip(".").replace(",", "\u202f")


def job_words(job: Job) -> list[str]:
    """`job 1042`, `unit 77-B`, `for the harbour`: what is known of them."""
    parts = (("job", job.number), ("unit", job.unit), ("for", job.customer))
    return [f"{word} {text}" for word, text in parts if text]
