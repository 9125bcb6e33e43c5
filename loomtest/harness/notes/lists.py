"""Lists that leave words out, written out: `toggles 1, 2 and 3` is `toggle 1, toggle 2 and toggle 3`.

What is said `of each` goes to every member. Nothing is added that the line does not say: words are repeated.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import Mention
from loomtest.harness.notes.scan import Token

MOST_MEMBERS = 40
_SEPARATES = ("comma", "and", "plus", "slash")
_RANGE = re.compile(r"to|-|–|--|\.\.+|…|thru|through|until|->", re.IGNORECASE)
OF = ("of", "on", "at", "in", "to")


def written_out_lists(tokens: Sequence[Token], several: dict[str, set[str]]) -> list[Token]:
    """The tokens with every list of a plural and its numbers, letters or sides written out.

    `several` gets the names that are told apart by numbers, with these.
    """
    tokens = _by_sides(_in_and_out(tokens))
    _note_runs(tokens, several)
    found: list[Token] = []
    ends: list[int] = []  # where the members of the last list end in `found`
    index = 0
    while index < len(tokens):
        noun = one_of(tokens[index].text) if tokens[index].sort == "word" else ""
        taken, separators, told = designators(tokens, index + 1) if noun else (0, [], [])
        if len(told) < 2:
            if noun and (count := _count_before(found)):
                key = Mention((*_name_before(found), noun)).key
                several.setdefault(key, set()).update(str(number + 1) for number in range(count))
            found.append(tokens[index])
            index += 1
            continue
        before = _words_before(found)
        name = [*found[len(found) - before :], replace(tokens[index], text=noun, value=noun)]
        found = found[: len(found) - before]
        while found and found[-1].text.casefold() in _COUNTS:
            found.pop()  # `both stop lamps L & R`
        ends = []
        several.setdefault(Mention(tuple(token.text for token in name)).key, set()).update(
            token.text for token in told if token.text.isdigit()
        )
        for separator, own in zip([None, *separators], told, strict=True):
            found += [separator] if separator is not None else []
            found += [replace(token, start=own.start, end=own.end) for token in [*name, own]]
            ends.append(len(found))
        index += 1 + taken
        if _is_of_all(tokens, index):  # `horns 1 & 2 +`: the terminal of both
            for end in reversed(ends):
                found.insert(end, replace(tokens[index], start=found[end - 1].end, end=found[end - 1].end))
            ends = [end + place + 1 for place, end in enumerate(ends)]
            index += 1
    return _of_each(found, ends)


_IN_OUT = re.compile(r"(?i)(\w{1,3}[+-]?) (?:is )?in,? (?:and )?(\w{1,3}[+-]?) (?:is )?out")
_OUT_IN = re.compile(r"(?i)in (?:is |at |= ?)?(\w{1,3}[+-]?),? (?:and )?out (?:is |at |= ?)?(\w{1,3}[+-]?)")


def _in_and_out(tokens: Sequence[Token]) -> Sequence[Token]:
    """`key S -> brake switch (1 in, 2 out) -> lamp`: to its terminal 1, and on from its terminal 2."""
    found: list[Token] = []
    for index, token in enumerate(tokens):
        said = token.sort == "note" and (_IN_OUT.fullmatch(token.value) or _OUT_IN.fullmatch(token.value))
        begin = len(found)
        while begin and found[begin - 1].sort in ("word", "number"):
            begin -= 1
        name = found[begin:]
        if not said or not name:
            found.append(token)
            continue
        sides = [Token(_sort(text), text, text, token.start, token.end) for text in said.groups()]
        comes = begin and found[begin - 1].sort in ("to", "arrow", "dash")
        goes = index + 1 < len(tokens) and tokens[index + 1].sort in ("to", "arrow", "dash", "gap")
        if comes:
            found.append(sides[0])
        if comes and goes:
            found += [Token("comma", ",", ",", token.end, token.end)]
            found += [replace(piece, start=token.end, end=token.end) for piece in name]
        if goes:
            found.append(sides[1])
        if not (comes or goes):
            found.append(token)
    return found


def _sort(text: str) -> str:
    return "number" if text.isdigit() else "word"


def _note_runs(tokens: Sequence[Token], several: dict[str, set[str]]) -> None:
    """`light 1, on to 2, on to 3`: the numbers of a run through devices of one name tell these apart."""
    for index, token in enumerate(tokens[:-4]):
        if (
            token.sort != "word"
            or trade.noun_sort(token.text) != "load"
            or tokens[index + 1].sort != "number"
        ):
            continue
        run = [tokens[index + 1].text]
        place = index + 2
        while place < len(tokens) and tokens[place].sort in ("comma", "to", "arrow", "dash"):
            place += 1
            if place < len(tokens) and tokens[place].sort == "number":
                run.append(tokens[place].text)
                place += 1
        if len(set(run)) > 2:
            several.setdefault(trade.long_form(token.text), set()).update(run)


_SIGNS = {"neg", "negative", "minus", "pos", "positive", "plus", "earth", "ground"}
_CLOSES = ("to", "arrow", "back", "from", "feeds", "comma", "colon", "gap", "stop", "semi", "dash")


def _is_of_all(tokens: Sequence[Token], index: int) -> bool:
    """Whether a terminal stands behind a list, which all of its members have."""
    if index >= len(tokens):
        return False
    signed = tokens[index].sort in ("plus", "dash") or tokens[index].text.casefold() in _SIGNS
    closes = index + 1 == len(tokens) or tokens[index + 1].sort in _CLOSES
    join = tokens[index].sort == "dash" and index + 1 < len(tokens) and tokens[index + 1].sort == "gap"
    return signed and closes and not join


def _by_sides(tokens: Sequence[Token]) -> Sequence[Token]:
    """`blink lamps minus: left rail X, right rail Y`: one of the plural with each side, and where it goes."""
    colon = next((i for i, token in enumerate(tokens) if token.sort == "colon"), 0)
    at = next(
        (i for i, token in enumerate(tokens[:colon]) if token.sort == "word" and one_of(token.text)), -1
    )
    if at < 0:
        return tokens
    begins = [
        i
        for i, t in enumerate(tokens)
        if i > colon and (i == colon + 1 or tokens[i - 1].sort in ("comma", "and"))
    ]
    begins = [i for i in begins if tokens[i].sort == "word" and is_side(tokens[i].text)]
    whole = [
        i for i in begins if i + 1 < len(tokens) and tokens[i + 1].sort in ("word", "to", "arrow", "dash")
    ]
    own = any(trade.noun_sort(token.text) == "load" for i in begins for token in tokens[i + 1 : i + 3])
    if own or trade.noun_sort(tokens[at].text) == "ground":
        return tokens  # `grounds: LH headlamp, RH headlamp`: whole names
    if len(begins) < 2 or whole != begins or begins[0] != colon + 1:
        return tokens
    name = [*tokens[:at], replace(tokens[at], text=one_of(tokens[at].text))]
    terminal = tokens[at + 1 : colon]
    found: list[Token] = []
    for index, token in enumerate(tokens[colon + 1 :], colon + 1):
        if index not in begins:
            found.append(token)
            continue
        found += [replace(t, start=token.start, end=token.end) for t in (*name, token, *terminal)]
        if tokens[index + 1].sort == "word":
            found.append(Token("to", "to", "to", token.end, token.end))
    return found


def one_of(word: str) -> str:
    """`lamp` for `lamps`, `switch` for `switches`: one of several devices; "" for any other word."""
    low = word.casefold()
    if len(word) < 4 or low[-1] != "s" or low.endswith("ss") or low in NO_DEVICES:
        return ""
    if low.endswith("ies") and trade.is_noun(low[:-3] + "y"):
        return word[:-3] + "y"
    for length in (1, 2) if low.endswith(("shes", "ches", "xes", "sses")) else (1,):
        if trade.is_noun(word[:-length]) and not trade.is_noun(low[:-length] + "ss"):
            return word[:-length]
    return ""


NO_DEVICES = {f"{word}s" for word in trade.words("terminals", "before") | trade.words("terminals", "sides")}


def designators(tokens: Sequence[Token], begin: int) -> tuple[int, list[Token], list[Token]]:
    """How many tokens from `begin` on tell the members of a plural apart, what stands between, and each."""
    own: list[Token] = []
    between: list[Token] = []
    place = begin
    while place < len(tokens) and len(own) < MOST_MEMBERS:
        at = place
        separator: Token | None = None
        while own and at < len(tokens) and tokens[at].sort in _SEPARATES and at - place < 2:
            separator, at = tokens[at], at + 1
        if at < len(tokens) and tokens[at].sort == "word" and tokens[at].text.casefold() in ("no", "nos"):
            at += 1
        token = tokens[at] if at < len(tokens) else None
        if token is None or not is_designator(token):
            break
        follows = bool(own) and own[-1].text.isdigit() and token.text == str(int(own[-1].text) + 1)
        if own and separator is None and not follows:
            break
        if own:
            between.append(separator or Token("comma", ",", ",", token.start, token.start))
        own.append(token)
        place = at + 1
        if (last := _range_end(tokens, place, token)) is not None:
            for number in range(int(token.text) + 1, int(last.text) + 1):
                between.append(Token("comma", ",", ",", last.start, last.start))
                own.append(replace(last, text=str(number), value=str(number)))
            place += 2
    return place - begin, between, own


def _range_end(tokens: Sequence[Token], place: int, first: Token) -> Token | None:
    """`to 4`, `-4`, `thru 4` behind a number: the last of a range."""
    if place + 1 >= len(tokens) or not first.text.isdigit() or tokens[place + 1].sort != "number":
        return None
    last = tokens[place + 1]
    ranged = _RANGE.fullmatch(tokens[place].text.strip()) and tokens[place].sort != "arrow"
    wide = int(last.text) - int(first.text)
    return last if ranged and 0 < wide < MOST_MEMBERS else None


def is_designator(token: Token) -> bool:
    """Whether a token tells devices of one name apart: a number, a capital, a side."""
    if token.sort == "number":
        return len(token.text) < 4
    if token.sort != "word":
        return False
    return bool(re.fullmatch("[A-Z]", token.text)) or is_side(token.text)


def is_side(word: str) -> bool:
    """Whether a word is a side or a corner: `LH`, `n/s`, `port`, `FL`, `rear`."""
    long = trade.long_form(word)
    return long in trade.words("english", "sides") or word.casefold() in trade.words("english", "corners")


def _words_before(found: Sequence[Token]) -> int:
    """How many words before a noun are of its name: `stop` of `stop lamps`."""
    count = 0
    for token in reversed(found):
        odd = trade.is_odd(token.text) or trade.is_filler(token.text)
        if token.sort != "word" or odd or token.text.casefold() in _COUNTS or count > 3:
            break
        count += 1
    return count


_COUNTS = {"both", "all", "each", "every", "two", "three", "four", "five", "six"}


def _name_before(found: Sequence[Token]) -> tuple[str, ...]:
    count = _words_before(found)
    return tuple(token.text for token in found[len(found) - count :])


def _count_before(found: Sequence[Token]) -> int:
    """How many a plural says there are: `the two galley lights`, `both lamps`; 0 where it says nothing."""
    count = _words_before(found)
    before = found[-1 - count].text.casefold() if len(found) > count else ""
    numbers = trade.ordered("english", "numbers")
    return 2 if before == "both" else numbers.index(before) if before in numbers[:13] else 0


def _of_each(tokens: list[Token], ends: Sequence[int]) -> list[Token]:
    """`…, pin 1 of each`, `the other terminal of each`: said of every member of the list in the line."""
    each = next(
        (i for i, t in enumerate(tokens) if i and t.text.casefold() == "each" and _is_of(tokens, i)), 0
    )
    if not each or (each + 1 < len(tokens) and _goes_on(tokens[each + 1])):
        return tokens
    begin, terminal = _terminal_before(tokens, each - 1)
    if not terminal:
        return tokens
    if not ends:
        ends = _plurals(tokens[:begin])
    if not ends or ends[-1] > begin:
        return tokens
    while (begin and tokens[begin - 1].sort in ("comma", "colon", "gap", "to", "semi")) or (
        begin and tokens[begin - 1].text.casefold() in ("the", "on", "at", "a", "an")
    ):
        begin -= 1
    behind = each + 1
    while behind < len(tokens) and tokens[behind].text.casefold() in ("has", "have", "gets", "a", "an", "is"):
        behind += 1
    found: list[Token] = []
    for index, token in enumerate(tokens[:begin]):
        found.append(token)
        if index + 1 in ends:
            found += [replace(t, start=token.end, end=token.end) for t in terminal]
    return found + tokens[behind:]


def _is_of(tokens: Sequence[Token], each: int) -> bool:
    return tokens[each - 1].text.casefold() in OF


def _goes_on(token: Token) -> bool:
    """Whether `each` has a noun of its own: `pin 1 of each lamp`."""
    return token.sort == "word" and trade.is_noun(token.text)


def _terminal_before(tokens: Sequence[Token], of: int) -> tuple[int, list[Token]]:
    """Where the words begin that name a terminal before `of each`, and the terminal."""
    kinds = trade.words("terminals", "before") | trade.words("terminals", "sides")
    told = (
        trade.words("english", "sizes")
        | trade.words("terminals", "words")
        | {"other", "positive", "negative"}
    )
    if of < 1:
        return of, []
    last = tokens[of - 1]
    before = tokens[of - 2] if of > 1 else None
    low = last.text.casefold()
    if before is not None and low in kinds and before.text.casefold() in told:
        other = before.text.casefold() == "other"
        return of - 2, [before, replace(last, text="side", value="side")] if other else [before]
    if re.fullmatch(r"\d{1,3}[a-z]?|[A-Z]\d?[+-]?", last.text) or last.sort in ("plus", "dash"):
        kind = before is not None and before.text.casefold() in kinds
        return of - 1 - int(kind), [last]
    if low in ("positive", "negative", "plus", "minus", "positives", "negatives"):
        return of - 1, [last]
    return of, []


def _plurals(tokens: Sequence[Token]) -> list[int]:
    """Where the last plural among the words ends."""
    found = [i + 1 for i, token in enumerate(tokens) if token.sort == "word" and one_of(token.text)]
    return found[-1:]
