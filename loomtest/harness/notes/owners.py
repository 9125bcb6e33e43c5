"""Of which connector the cavities of a block are, where no plain heading says it: the line above names it.

A sentence (`the outboard plug has four pins`), a heading that says more than a name, a relay that was named
just before rows of 30, 85, 86 and 87. What is not plain is left open, and the rows are asked about.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from loomtest.harness.notes import trade
from loomtest.harness.notes.items import JOINS, items_of
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import PageLine, Role
from loomtest.harness.notes.titles import COUNT, device_named, has_cavities, undecorated
from loomtest.harness.notes.tokens import tokens_of

_COUNTED = re.compile(
    r"(?i)\b(?:two|three|four|five|six|seven|eight|nine|ten|twelve)[\s-]*"
    r"(?:pins?|ways?|holes?|contacts?|blades?|poles?|terminals?|tags?|wires?|cavities)\b"
)
RELAY = {"30", "85", "86", "87", "87a", "87A"}  # DIN 72552
_ALOUD = re.compile(
    r"(?i)^(?:\w{1,3}:\s+)?(?:(?:and|now|then|next|so|ok|here)\b[\s:,]*)*(?:for\s+|is\s+|comes\s+)?"
)
_SIDES = re.compile(r"(?i)\b(?:side|end|half|above|below|in|out|up|down|from|to|top|bottom|front|back)\b")
FURTHEST = 6  # lines above the rows of a relay in which it may be named


def owner_above(lines: Sequence[PageLine], first: PageLine, names: Names) -> tuple[PageLine, Mention] | None:
    """The line that names the connector of the rows from `first` on, and the connector."""
    above = next((line for line in reversed(lines[: first.number - 1]) if line.text.strip()), None)
    if above is None or above.role not in (Role.LINE, Role.HEADING, Role.COMMENT):
        return None
    if above.listed and not _counts(above):
        return None
    if above.role is Role.HEADING and above.device is not None:
        return None
    text = _ALOUD.sub("", undecorated(above.text)[0], count=1)
    kind, _, name = text.partition(":")
    if name and trade.long_form(kind) in trade.words("nouns", "numbered"):
        text = f"{re.split('[,;(]', name)[0].strip()} {kind}"  # `PLUG: dash`
    head = re.split(r"[,;:(]|\.\s|\s[-–]\s|\s{2,}", text, maxsplit=1)[0].strip()
    tokens = tokens_of(head, {})
    told = _counts(above) or two_sided_heading(above.text)
    if not told and any(token.sort in JOINS for token in tokens):
        return None  # a statement of its own
    device = device_named(re.split(r"(?i)\b(?:side|end|half|pins|back|front) of (?:the )?", head)[-1])
    if device is not None and (told or has_cavities(device, above.text)):
        return above, device
    named = [item.mention for item in items_of(tokens, names, {}) if item.mention is not None]
    sure = [m for m in named if m.words and not m.terminal and m.sort in ("contact", "code")]
    return (above, sure[0]) if len({m.key for m in sure}) == 1 else None


def relay_above(
    lines: Sequence[PageLine], first: PageLine, values: Iterable[str], names: Names
) -> Mention | None:
    """The one relay that was named shortly before rows of 30, 85, 86 and 87."""
    if not set(values) <= RELAY:
        return None
    relays: dict[str, Mention] = {}
    for line in lines[max(0, first.number - 1 - FURTHEST) : first.number - 1]:
        for item in items_of(line.tokens, names, {}):
            if item.mention is not None and item.mention.key.split()[-1:] == ["relay"]:
                relays[names.alias(item.mention.key)] = item.mention
    longer = {key: m for key, m in relays.items() if key != "relay"}
    found = longer or relays
    return next(iter(found.values())) if len(found) == 1 else None


def two_sided_heading(text: str) -> bool:
    """Whether a heading says what stands at both sides: `engine side -> head side`, `from below / on top`."""
    before, sign, behind = [*re.split(r"\s(->|→|/|\||<->|↔)\s", text, maxsplit=1), "", ""][:3]
    return bool(sign) and bool(_SIDES.search(before)) and bool(_SIDES.search(behind))


def _counts(line: PageLine) -> bool:
    return bool(COUNT.search(line.text) or _COUNTED.search(line.text))
