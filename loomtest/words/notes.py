"""What is said of a page of notes: what each line was read as, why one was not, and what to look at."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from loomtest.harness.notes.meaning import Ask
from loomtest.harness.notes.result import Kind, LookAt, NotedLine, Notes, ToLookAt
from loomtest.words.lines import Line, all_of, wrapped
from loomtest.words.numbers import counted

MOST_LINES = 20  # of a summary on the screen

_SAID = {
    Kind.REMARK: "a remark, kept in notes.txt: no wire",
    Kind.TABLE: "the columns of a table",
    Kind.KEY: "what letters and short names stand for",
    Kind.COMMENT: "a comment",
    Kind.RULE: "a line drawn",
    Kind.AGAIN: "said in another line already: no wire of its own",
}
_WHY = {
    Ask.WRITER_UNSURE: "the notes themselves are not sure here ({about})",
    Ask.SEVERAL_MEANINGS: "it can be meant in more than one way{near}",
    Ask.ONE_END: "only one end of the wire is named{near}",
    Ask.LIST_TO_LIST: "several points on both sides, and not as many on the one as on the other",
    Ask.COLOURS: "more colours than wires ({about}): which wire has which?",
    Ask.WHICH_OF_THEM: "which ones are “{about}”? Their names are needed",
    Ask.UNKNOWN_WORDS: "“{about}” may be a place or a remark",
    Ask.DITTO: "a ditto mark that stands below no single word of the line above",
    Ask.SAME_ENDS: "both ends are {about}",
    Ask.TOO_LONG: "a line of more than 400 letters, or beyond line 100,000",
    Ask.CAVITY: "“{about}” is a cavity of which connector?",
    Ask.CAVITY_LACKS: "{about} stands here without a cavity, and with one in other lines",
    Ask.NAME_TWICE: "another wire is called {about} already",
    Ask.PUT_RIGHT: "line {about} puts it right",
    Ask.GLUED: "“{about}” may be a cavity, and may be two ends of a wire",
}


def said(line: NotedLine) -> str:
    """What a line was read as; "" for one that was not."""
    if line.wires:
        return "; ".join(wire.words for wire in line.wires)
    if line.kind is Kind.HEADING:
        return f"a heading: {line.device}" if line.device else "a heading"
    if line.kind is Kind.EMPTY:
        stays = "stays" if len(line.empty) == 1 else "stay"
        return f"{all_of(line.empty)} {stays} empty: no wire"
    if line.kind is Kind.CHANGE:
        changes = all_of([f"{old} to {new}" for old, new in line.changes])
        return f"a change of connector, and no wire: {changes}"
    return _SAID.get(line.kind, "")


def why(line: NotedLine) -> str:
    """Ask a line was not read."""
    if line.why is None:
        return ""
    near = f", at “{line.about}”" if line.about else ""
    return _WHY[line.why].format(about=line.about, near=near)


def not_read(line: NotedLine) -> str:
    """Why a line was not read, with the words of it that were not where the rest was."""
    return f"“{line.part}”: {why(line)}" if line.part else why(line)


def look_at(look: LookAt) -> str:
    """What to look at though it was read; about a line it begins with `line N`."""
    at = f"line {look.line}: " if look.line else ""
    a = look.about
    match look.what:
        case ToLookAt.TAKEN_FOR:
            return f"{at}{a[0]} is taken for {a[1]}, the only one of these notes"
        case ToLookAt.SPELLED:
            return f"{at}{a[0]} is taken for {a[1]}: one thing with one spelling"
        case ToLookAt.SIZE if a[0] == "?":
            return f"{at}the size has a question mark: look at the wire"
        case ToLookAt.SIZE:
            return f"{at}{a[0]} is taken for a wire of {a[1]} mm², not for a diameter"
        case ToLookAt.ALL_SIZE:
            size = a[0] if a[0].startswith("AWG") else f"{a[0]} mm²"
            return f"{at}{counted(int(a[1]), 'wire')} without a size of its own: {size}, as said of all"
        case ToLookAt.COLOUR:
            return f"{at}the colour {a[0]} is not taken over: these letters have no key here"
        case ToLookAt.TWICE:
            return f"{at}{a[0]} and {a[1]} are joined by line {a[2]} too"
        case ToLookAt.ONE_GROUND:
            more = f"number them ({a[0]}1, {a[0]}2) if there are several"
            return f"{a[1]} wires end at {a[0]}, which is one point then: {more}"
        case ToLookAt.MAY_BE_ONE:
            return f"{at}{a[0]} stands beside {all_of(a[1:])}: if two of them are one thing, give it one name"
        case _:
            return f"{at}{' '.join(a)}"


def as_read(notes: Notes, source: str) -> str:
    """Every line as written, and below it what it was read as: the text of a file."""
    rows = [f"{source}, as it was read. Check it against the loom, not against your notes.", ""]
    for line in notes.lines:
        told = said(line) or f"NOT READ: {not_read(line)}"
        rows += [] if line.part else [f"{line.number:>5}  {line.text}"]
        rows.append(f"       = {told}")
    return "\n".join(rows) + "\n"


def summary(notes: Notes, source: str, where: str = "") -> list[Line]:
    """What was read, in at most `MOST_LINES` lines: a short page line by line, a long one counted."""
    counts = Counter(line.kind for line in notes.lines)
    empty = sum(len(line.empty) for line in notes.lines)
    told = [counted(len(notes.wires), "wire")]
    told += [counted(empty, "empty cavity", "empty cavities")] if empty else []
    told += (
        [counted(len(notes.changes), "change of connector", "changes of connector")] if notes.changes else []
    )
    told += [counted(counts[Kind.REMARK], "remark")] if counts[Kind.REMARK] else []
    many = len({line.number for line in notes.lines})
    lines = wrapped(f"{source}: {counted(many, 'line')} read as {all_of(told)}.", tone="head")
    waiting = notes.unread
    room = MOST_LINES - len(lines) - 4
    shown = [line for line in notes.lines if line.wires]
    if len(shown) + len(waiting) <= room:
        for line in shown:
            lines += _short(f"{line.number:>5}  {said(line)}")
    else:
        for line in shown[:4]:
            lines += _short(f"{line.number:>5}  {said(line)}")
        if shown[4:]:
            lines.append(Line(f"       … and {counted(len(shown) - 4, 'more line')} with wires{where}"))
    if waiting:
        lines.append(Line(f"{counted(len(waiting), 'line')} not read yet:", "doubt"))
        left = max(3, MOST_LINES - len(lines) - 1)
        lines += [row for line in waiting[:left] for row in _short(f"{line.number:>5}  {not_read(line)}")]
        if waiting[left:]:
            lines.append(Line(f"       … and {len(waiting) - left} more"))
    return lines


def _short(text: str) -> list[Line]:
    return [Line(text if len(text) <= 80 else text[:79] + "…")]


def look_lines(notes: Notes, most: int = 6) -> list[Line]:
    """What to look at, under a heading of its own; nothing where there is nothing."""
    told = list(dict.fromkeys(look_at(look) for look in notes.look_at))
    if not told:
        return []
    lines = [Line(""), Line("Look at these", "head")]
    for text in told[:most]:
        lines += wrapped(text, indent=2)
    if told[most:]:
        lines.append(Line(f"  … and {len(told) - most} more: --json has them all"))
    return lines


def question(line: NotedLine, place: int, of: int) -> list[Line]:
    """A doubtful line with its numbered answers."""
    lines = [Line(""), Line(f"Question {place} of {of}, line {line.number}: {line.text}"[:160], "head")]
    reason = f"Not read: {not_read(line)}" if line.part else f"Not read, because {why(line)}"
    lines += wrapped(reason if reason.endswith("?") else f"{reason}.", indent=2)
    for number, choice in enumerate(choices(line), 1):
        lines += wrapped(f"{number}  {choice}", indent=2)
    return lines


def choices(line: NotedLine) -> list[str]:
    """The answers to a doubtful line, in the order of their numbers."""
    return [*(f"it means: {reading}" for reading in line.readings), "it is a remark, and no wire"]


def answer_prompt(numbers: int) -> str:
    """What is asked below the numbered answers."""
    number = "1" if numbers == 1 else f"A number (1 to {numbers})"
    return f"{number}, or the wire in your own words (X1 1 red to X4 3), or Enter for later:"


def not_understood(text: str) -> str:
    """The answer to an answer that says no wire."""
    return f"“{text}” was not read as a wire. Name both ends, such as: X1 1 red to X4 3"


def unread_problem(lines: Sequence[NotedLine], most: int = 5) -> list[tuple[int, str, str]]:
    """(line, found, expected) of the lines that stop the job; the last one counts those that are not told."""
    told = [
        (line.number, f"“{(line.part or line.text)[:60]}”", f"one meaning, but {why(line)}")
        for line in lines[:most]
    ]
    if lines[most:]:
        count = counted(len(lines) - most, "more line")
        left = f"{count} that {'was' if len(lines) == most + 1 else 'were'} not read"
        told.append((lines[most].number, left, "one meaning each: answer the questions on a terminal"))
    return told


def swap_offer(notes: Notes, name: str) -> list[Line]:
    """How a change of connector that stands in the notes goes on."""
    if not notes.changes:
        return []
    stand = "stands" if len(notes.changes) == 1 else "stand"
    text = (
        f"{counted(len(notes.changes), 'change of connector', 'changes of connector')} {stand} in {name}, "
        "ready for loomtest swap: put the connectors' names in place of old and new there."
    )
    return [Line(""), *wrapped(text)]
