"""What both readings of a page agree on is read; where they differ, both stand as readings of a question."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import inf

from loomtest.harness.notes import trade
from loomtest.harness.notes.credible import check
from loomtest.harness.notes.doubt import MOST_READINGS, in_words
from loomtest.harness.notes.lists import one_of
from loomtest.harness.notes.meaning import Ask, Joint, UnsureError
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.reading import made
from loomtest.harness.notes.result import Kind, NotedLine
from loomtest.harness.notes.sofar import ReadSoFar
from loomtest.harness.notes.weighed.weigh import Weighed, weigh

NOT_UNDERSTOOD = 4.0  # a reading that costs more says nothing against another
NEAR = 0.5  # readings whose costs differ by less are as likely the one as the other
NOT_A_WIRE = 2.2  # a statement that costs more may be a remark
SURE_COST, SURE_MARGIN = 1.0, 0.25
APART = 0.5
_FUSES = ("fuse", "breaker", "fusible")
_OF_THE_WORDS = (Ask.SEVERAL_MEANINGS, Ask.ONE_END, Ask.UNKNOWN_WORDS, Ask.CAVITY)
_OF_THE_WRITER = (Ask.WRITER_UNSURE, Ask.TOO_LONG, Ask.PUT_RIGHT, Ask.NAME_TWICE)


def agree(state: ReadSoFar) -> None:
    """Hold every line that was read against the second reading, and every question too."""
    weighed = weigh(state.page)
    own: dict[int, list[Joint]] = {}
    for index, joint in state.joints:
        own.setdefault(index, []).append(joint)
    parts = Counter(line.number for line in state.lines)
    exact = {index for index, _ in state.exact}
    dropped: set[int] = set()
    for index, line in enumerate(state.lines):
        told = weighed.get(line.number - 1, [])
        if parts[line.number] > 1 or index in exact or line.number in state.tabled or not told:
            continue
        joints = [joint for one in told for joint in one.reading.joints]
        if line.kind is Kind.WIRES and own.get(index):
            near = _dearer(own[index], told, state.page.names) <= NEAR
            if near or _is_plain(own[index]) or _cost(told) > NOT_UNDERSTOOD:
                continue
            readings = _both(state, line, own[index], joints, first=_sure(told))
            state.lines[index] = replace(
                line, kind=Kind.UNREAD, why=Ask.SEVERAL_MEANINGS, about="", readings=readings
            )
            dropped.add(index)
        elif line.kind is Kind.UNREAD and line.why not in _OF_THE_WRITER and joints:
            said = _said(state, line, joints)
            sure = bool(said) and _sure(told) and line.why in _OF_THE_WORDS and not _has_fuse(state, line)
            if (
                sure
                and (said in line.readings or _plain_row(told))
                and _is_believed(joints, state.page.names)
            ):
                state.lines[index] = replace(line, kind=Kind.WIRES, why=None, about="", readings=())
                state.joints += [(index, joint) for joint in joints]
            elif said:
                order = [said, *line.readings] if _sure(told) else [*line.readings, said]
                kept = tuple(dict.fromkeys(order))[:MOST_READINGS]
                state.lines[index] = replace(line, readings=kept)
    state.joints = sorted((item for item in state.joints if item[0] not in dropped), key=lambda item: item[0])


def _cost(told: Sequence[Weighed]) -> float:
    return max(one.reading.cost for one in told)


def _sure(told: Sequence[Weighed]) -> bool:
    return _cost(told) <= SURE_COST and min(one.margin for one in told) >= SURE_MARGIN


def _plain_row(told: Sequence[Weighed]) -> bool:
    """Whether every statement is a row of its block, and no other reading comes near."""
    return all(one.reading.way in ("pin", "hub") and one.margin >= APART for one in told)


def _is_believed(joints: Sequence[Joint], names: Names) -> bool:
    """Whether the ends are points by what the first reading asks of them, and one cavity goes to one end."""
    try:
        check(joints, names)
    except UnsureError:
        return False
    ends = [end for joint in joints for end in (joint.start, joint.end)]
    plural = any(end.many or one_of(end.words[-1]) for end in ends if end.words)
    return len({joint.start for joint in joints}) == len(joints) and not plural


def _has_fuse(state: ReadSoFar, line: NotedLine) -> bool:
    """Whether a line speaks of a fuse: the second reading would write its wire without it."""
    words = state.page.lines[line.number - 1].tokens
    return any(word.sort in ("amps", "via") or trade.long_form(word.text) in _FUSES for word in words)


def _said(state: ReadSoFar, line: NotedLine, joints: Sequence[Joint]) -> str:
    return in_words(list(joints), state.page.lines[line.number - 1], state.page.names, made)


def _both(
    state: ReadSoFar, line: NotedLine, own: Sequence[Joint], other: Sequence[Joint], *, first: bool
) -> tuple[str, ...]:
    said = [_said(state, line, own), _said(state, line, other)]
    return tuple(dict.fromkeys(text for text in (reversed(said) if first else said) if text))


def _is_plain(own: Sequence[Joint]) -> bool:
    """One wire between cavities of connectors or a ground: `X1:3 red to X4(1)`, `X2 4 black to GND1`."""
    if len(own) != 1 or own[0].notes or own[0].left:
        return False
    ends = (own[0].start, own[0].end)
    grounds = [len(end.words) == 1 and not end.terminal and trade.is_ground(end.words[0]) for end in ends]
    coded = [end.sort == "code" and bool(end.terminal) for end in ends]
    return any(coded) and all(map(any, zip(coded, grounds, strict=True)))


def _dearer(own: Sequence[Joint], told: Sequence[Weighed], names: Names) -> float:
    """How much dearer than the best second reading the first one is by its weights; infinite where it is not
    among them. A side without a name of its own is any side."""
    wanted = [
        {frozenset((a, b)) for a in _points(joint.start, names) for b in _points(joint.end, names)}
        for joint in own
    ]
    dearer, left = 0.0, list(wanted)
    for one in told:
        if not any(reading.joints for reading in one.readings):
            continue
        for reading in one.readings:
            found = [frozenset((_point(j.start, names), _point(j.end, names))) for j in reading.joints]
            if found and all(any(pair in ways for ways in wanted) for pair in found):
                dearer = max(dearer, reading.cost - one.reading.cost)
                left = [ways for ways in left if not any(pair in ways for pair in found)]
                break
        else:
            dearer = inf if one.reading.cost < NOT_A_WIRE else max(dearer, NEAR)
    return inf if left else dearer


def _points(mention: Mention, names: Names) -> list[str]:
    own = _point(mention, names)
    if mention.terminal and not mention.other:
        earth = mention.terminal in ("E", "-") and mention.sort == "load"
        return [own, _point(replace(mention, terminal=""), names)] if earth else [own]
    device = _point(replace(mention, terminal="", other=False), names)
    return [own, *(f"{device}{side}" for side in ("1", "2", "e"))]


def _point(mention: Mention, names: Names) -> str:
    plain = re.sub(r"[^a-z0-9+-]", "", names.point(mention).casefold())
    return re.sub(r"(?:positive|pos|plus)$", "+", re.sub(r"(?:negative|neg|minus)$", "-", plain))
