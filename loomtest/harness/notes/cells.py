"""The parts of a row: cells of a table, sentences, what says that a cavity is empty."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import pairwise

from loomtest.harness.colours import IEC_60757, colour_words
from loomtest.harness.notes import trade
from loomtest.harness.notes.cavities import is_pin
from loomtest.harness.notes.items import ABOUT, JOINS, items_of
from loomtest.harness.notes.meaning import Ask, Surroundings, UnsureError
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import Page
from loomtest.harness.notes.scan import Token


def wire_name(tokens: list[Token]) -> tuple[str, list[Token]]:
    """`W12: X1 10 to X4 10`, `W3 X1 1 to X4 3`: the wire's own name, and the rest."""
    first = 1 if tokens and tokens[0].text.casefold() == "wire" and len(tokens) > 3 else 0
    if first and tokens[1].sort == "number" and tokens[2].sort == "colon":
        return tokens[1].text, tokens[3:]
    if len(tokens) < first + 4 or not re.fullmatch(r"[Ww]\d{1,4}[a-z]?", tokens[first].text):
        return "", tokens
    after = tokens[first + 1]
    if after.sort in ("colon", "stop"):
        return tokens[first].text, tokens[first + 2 :]
    if after.sort == "word" and re.fullmatch(r"[A-Za-z]{1,4}\d{1,3}(?:-\d+)?", after.text):
        return tokens[first].text, tokens[first + 1 :]
    return "", tokens


def like_a_colour(word: str) -> bool:
    """Whether an unknown word is likely a misspelt colour (`rde`)."""
    if (
        not word.isalpha()
        or len(word) > 8
        or trade.is_odd(word)
        or trade.is_noun(word)
        or trade.long_form(word) != word.casefold()
    ):
        return False
    near = get_close_matches(word.casefold(), list(IEC_60757.values()), 1, 0.6)
    return bool(near) and near[0][0] == word[0].casefold()  # `really` is no yellow


# Colours in letters that no standard fixes (B is black, blue or brown): common practice of several makers.
_COLOUR_LETTERS = (
    r"(?:B|W|R|G|L|Y|O|P|V|S|U|N|K|T|Bl|BL|Bk|BK|Br|BR|Gr|GR|Gy|Lg|LG|Lb|LB|Dg|DG|Db|DB|Sb|SB|Or|OR|Pu|PU|Ch|Be"
    r"|b|w|r|g|y|br|bl|gr|or|lg)"
)
_IN_LETTERS = re.compile(rf"{_COLOUR_LETTERS}(?:[/-]{_COLOUR_LETTERS}){{0,2}}")


def is_title(page: Page, tokens: list[Token]) -> bool:
    """Whether the first line of a page is what it is about: no colour, size, arrow or terminal, and no two
    devices that stand elsewhere too."""
    said = next((token.start for token in tokens if token.text.casefold() == "all"), 10_000)
    signs = ("arrow", "back", "feeds", "size", "via")
    if any(token.sort in signs and token.start < said for token in tokens):  # `all AWG 16` is of the page
        return False
    ends = [item.mention for item in items_of(tokens, page.names, page.letters) if item.mention]
    if any(mention.terminal and mention.words for mention in ends):
        return False
    known = [m for m in ends if page.names.seen.get(page.names.alias(m.key), 0) > 1]
    return len(known) < 2 and not (len(ends) == 2 and any(token.sort == "colour" for token in tokens))


def in_letters(tokens: list[Token], letters: Mapping[str, str]) -> list[Token]:
    """The one word of a colour's cell as colour letters (by the page's key, if it has one), or as it was."""
    if len(tokens) != 1 or tokens[0].sort != "word":
        return tokens
    token = tokens[0]
    if token.text.casefold() == "or":
        return [replace(token, sort="colour", value="orange")]
    parts = re.split(r"[/-]", token.text)
    if all(part in letters for part in parts):
        value = colour_words("/".join(letters[part] for part in parts)).replace("-", "/")
        return [replace(token, sort="colour", value=value)]
    return [replace(token, sort="letters")] if _IN_LETTERS.fullmatch(token.text) else tokens


def with_letters(rest: list[Token], letters: Mapping[str, str]) -> list[Token]:
    """A row behind its cavity, whose first column may be a colour in letters: `4  B  earth ring`."""
    if len(rest) < 3 or rest[1].sort != "gap" or not any(t.sort in ("word", "number") for t in rest[2:]):
        return rest
    return [*in_letters(rest[:1], letters), *rest[1:]]


def behind_the_pin(rest: list[Token]) -> list[Token]:
    """A row without the sign behind its cavity; a dash alone, which says that it is empty, stays."""
    while rest and rest[0].sort in ("stop", "gap", "colon", "dash", "arrow", "back", "to", "from", "slash"):
        if rest[0].sort == "dash" and (len(rest) == 1 or rest[1].sort == "gap"):
            break
        rest = rest[1:]
    return rest


_EMPTY_TAIL = re.compile(r"^[\s\-–.:=(]*(.*?)[\s.)!]*$")


def says_empty(text: str, rest: list[Token]) -> bool:
    """Whether what stands behind the cavity says that it holds no wire."""
    while len(rest) > 1 and rest[0].sort in (
        "note",
        "colour",
        "size",
        "gap",
    ):
        rest = rest[1:]
    words = text[rest[0].start :] if rest and rest[0].start < len(text) else ""
    match = _EMPTY_TAIL.match(re.sub(r"\([^()]*\)\s*$", "", words) or words)
    said = match[1].casefold() if match else ""
    said = re.sub(r"^(?:\w{1,3} )?is (?:now )?", "", said)
    if words.strip() == "KEY" and len(rest) == 1:
        return True  # the cavity that is closed so that the plug goes in one way only
    if not said:
        return not any(token.sort in ("word", "number") for token in rest)
    if said.strip("-–— |\t") == "":
        return True
    phrases = trade.phrases("empty", "whole")
    first = re.split(r"[,;.]\s|\s[-–]\s", said)[0].strip()
    return (
        first in phrases
        or said in phrases
        or _NOTHING_NOW.search(said) is not None
        or any(
            first.startswith(p + " ")
            for p in (
                "not used",
                "unused",
                "cut off",
                "capped",
                "blanked",
                "sealed",
                "not connected",
                "spare",
                "nothing",
                "empty",
                "nothing in",
                "nothing on",
                "nowt in",
                "nowt on",
                "none in",
                "no pin",
                "no wire",
                "is empty",
                "blank plug",
                "not fitted",
                "blank",
            )
        )
    )


# `was the pump, nothing on it now`
_NOTHING_NOW = re.compile(r"[,;–-] ?nothing (?:on|in|at) (?:it|there)(?: now| any more)?\W*$")
_BEFORE_A_PIN = ("comma", "semi", "stop", "colon", "dash", "word", "note", "and")
_LEADS = ("pin", "cavity", "cav", "way", "terminal", "term", "position")
_LEADS_OF_SEVERAL = ("pins", "cavities", "ways", "terminals", "terms", "positions")
_SAYS = re.compile(
    r"^(.*?\w)[\s:=|>–-]+(?:(?:is|are|both|all|left|has|have|been|just)\s+)*("
    + "|".join(re.escape(p) for p in trade.phrases("empty", "whole") if len(p) > 2)
    + r")\W*(?:\([^()]*\)\W*)?$",
    re.IGNORECASE,
)
_CLAUSE = re.compile(r"[,;]\s+|\.\s+(?=\S)")


def said_empty(names: Names, tokens: list[Token], text: str) -> list[str]:
    """`S4 pin D unused`, `plug 2 and 5 not used, pin 6 empty`: the cavities that a line says are empty.

    [] where a part of the line says anything else than that, or than why.
    """
    found: list[Mention] = []
    begin = 0
    for place in [*(match.end() for match in _CLAUSE.finditer(text)), len(text)]:
        clause = text[begin:place].rstrip(" ,;.")
        if own := _empties(names, tokens, text[:begin], clause, found):
            found += own
        elif not found and place < len(text):
            clause = ""
            continue  # `tail plug 2, 5 not used`: the comma is of the list
        elif text[begin:place].strip(" ,;.").casefold() in trade.phrases("empty", "whole"):
            pass  # `spare, capped off`
        elif _names_more(tokens, begin, place):
            return []
        begin = place
    return [names.point(mention) for mention in found]


def _names_more(tokens: Sequence[Token], begin: int, end: int) -> bool:
    """Whether a part of the line can be a wire: a sign of joining, or a colour."""
    return any(begin <= token.start < end and token.sort in (*JOINS, "colour", "gap") for token in tokens)


def _empties(
    names: Names, tokens: Sequence[Token], before: str, clause: str, known: Sequence[Mention]
) -> list[Mention]:
    match = _SAYS.match(clause)
    if match is None:
        return []
    last = len(before) + match.end(1)
    words = _without_leads([token for token in tokens if len(before) <= token.start and token.end <= last])
    if len(words) in (5, 6) and (several := _from_one_to_another(words)):
        return several
    if any(t.sort in (*ABOUT, *JOINS, "via", "colon", "gap") and t.text != ":" for t in words):
        return []
    found: list[Mention] = []
    items = items_of(words, names, {})
    later = [item.mention for item in items if item.mention is not None and item.mention.words]
    for item in items:
        mention = item.mention
        if mention is None and item.sort != "list":
            return []
        if mention is not None:
            owner = [*known, *found, *later][-1:] if not found else found[-1:]
            if not mention.words and owner:
                mention = replace(mention, words=owner[0].words)
            if len(mention.words) == 2 and mention.words[1].isdigit() and not mention.terminal:
                mention = replace(
                    mention, words=mention.words[:1], terminal=mention.words[1]
                )  # `fuse 5 empty`
            if not mention.words or not mention.terminal:
                return []
            found.append(mention)
    return found


def _from_one_to_another(words: Sequence[Token]) -> list[Mention]:
    """`RP7 to RP16: spare`: the cavities of one connector, the first, the last and those between."""
    first, begin, join, second, end = words[:5]
    of_one = first.sort == second.sort == "word" and first.text == second.text
    if (
        not of_one
        or begin.sort != "number"
        or end.sort != "number"
        or join.sort not in ("arrow", "to", "dash")
    ):
        return []
    return [Mention((first.text,), str(pin)) for pin in range(int(begin.text), int(end.text) + 1)]


def _without_leads(words: list[Token]) -> list[Token]:
    """`Fuse box, ways 5 and 6`: without the noun of several cavities and the comma before it."""
    at = next((i for i, token in enumerate(words[:-1]) if token.text.casefold() in _LEADS_OF_SEVERAL), 0)
    if not at or words[at + 1].sort != "number":
        return words
    head = words[: at - 1] if words[at - 1].sort == "comma" else words[:at]
    return [*head, *words[at + 1 :]]


def rows_in_line(tokens: list[Token], scene: Surroundings) -> list[tuple[Mention, list[Token]]]:
    """The cavities of `tail plug: pin 1 …, pin 3 …` with what stands behind each; [] for any other line."""
    at = [
        i
        for i in range(len(tokens) - 2)
        if tokens[i].text.casefold() in _LEADS
        and (tokens[i + 1].sort == "number" or re.fullmatch(r"[A-Z]\d?", tokens[i + 1].text))
        and (
            i == 0 or tokens[i - 1].sort in ("comma", "semi", "stop", "colon", "dash", "word", "note", "and")
        )
    ]
    listed = [i for i in at[1:] if tokens[i - 1].sort in ("comma", "semi", "stop", "and")]
    if not at:
        return _behind_a_colon(tokens, scene)
    if len(listed) != len(at) - 1 or not listed:
        return []
    head = [token for token in tokens[: at[0]] if token.sort in ("word", "number", "hash")]
    if any(token.sort in (*JOINS, "comma") for token in tokens[: at[0]]):
        return []
    device = mention_of(head) if head else scene.device
    if device is None or not device.words:
        return []
    words = (*device.words, device.terminal) if device.terminal else device.words
    found = []
    for place, begin in enumerate(at):
        end = at[place + 1] if place + 1 < len(at) else len(tokens)
        rest = behind_the_pin(tokens[begin + 2 : end])
        while rest and rest[-1].sort in ("comma", "semi", "stop", "and", "gap"):
            rest = rest[:-1]
        found.append((Mention(words, tokens[begin + 1].text), rest))
    return found


def _behind_a_colon(tokens: list[Token], scene: Surroundings) -> list[tuple[Mention, list[Token]]]:
    """`fan relay: 30 batt red, 87 fan`: a cavity in each part; a doubt where no colour or sign is said."""
    colon = next((i for i, token in enumerate(tokens) if token.sort == "colon"), 0)
    head = [token for token in tokens[:colon] if token.sort != "note"]  # `K1 (start): 30 to …`
    named = [token for token in head if token.text.casefold() not in ("pins", "terminals")]
    device = mention_of(named) if named else None
    if device is None or device.terminal or device.sort not in ("contact", "load", "code"):
        return []
    parts: list[list[Token]] = [[]]
    for token in tokens[colon + 1 :]:
        if token.sort in ("comma", "semi"):
            parts.append([])
        elif parts[-1] or token.sort != "gap":
            parts[-1].append(token)
    begun = all(
        len(part) > 1
        and is_pin(part[0], strict=True)
        and part[1].sort in (*ABOUT, *JOINS, "word", "dash", "gap", "colon")
        and part[0].sort != "dash"
        for part in parts
    )
    if len(parts) < 2 or not begun:
        return []
    said = all(any(token.sort in (*ABOUT, *JOINS, "dash") for token in part) for part in parts)
    plain = all(
        part[1].sort in ("colour", "letters") and any(token.sort in JOINS for token in part[2:])
        for part in parts
    )
    if (not said or ("fuse" in device.key and not plain)) and scene.meant != "each":
        raise UnsureError(Ask.SEVERAL_MEANINGS, " ".join(device.words))
    return [(Mention(device.words, part[0].text), behind_the_pin(part[1:])) for part in parts]


def sentences(tokens: list[Token], pinned: bool) -> list[list[Token]]:
    """The statements of a line: parted by full stops and semicolons."""
    found: list[list[Token]] = [[]]
    joins = pinned or any(token.sort in JOINS for token in tokens)
    joins = joins or any(a.sort == "colon" and b.start > a.end for a, b in pairwise(tokens))
    joins = joins or any(a.sort == "dash" and b.start > a.end for a, b in pairwise(tokens[1:]))
    for token in tokens:
        if token.sort == "semi" and not joins:  # `X1:1; X4:3; red`: a list, as a spreadsheet saves it
            found[-1].append(replace(token, sort="comma"))
        elif token.sort in ("stop", "semi") and found[-1]:
            found.append([])
        else:
            found[-1].append(token)
    kept: list[list[Token]] = []
    for statement in found:
        bare = bool(kept) and pinned and not any(trade.is_noun(token.text) for token in kept[-1])
        said = [token for token in statement if token.sort != "gap"]
        alone = bare and len(found) == 2 and not any(token.sort in JOINS for token in said)
        if bare and said and (said[0].sort == "to" or alone):
            sign = replace(statement[0], sort="comma", text=",")  # `A. 6 mm red. To the rear fuse board.`
            kept[-1] += [sign, *statement] if alone and said[0].sort != "to" else statement
        elif kept and _says_more(statement):
            kept[-1] += [replace(statement[0], sort="comma", text=","), *statement]  # `... all brown 18`
        elif any(token.sort != "gap" for token in statement):
            kept.append(statement)
    return kept


def through_a_fuse(statements: list[list[Token]]) -> list[list[Token]]:
    """`Horn 2 to fuse. Fuse other side to ammeter right.`: one wire with a fuse in it."""
    for index in range(len(statements) - 1):
        first, second = statements[index : index + 2]
        second = [*second] if second[0].sort != "gap" else second[1:]
        low = [token.text.casefold() for token in second[:3]]
        if first[-1].text.casefold() == "fuse" and low[1:] == ["other", "side"] and low[0] == "fuse":
            joined = [
                *first,
                Token("to", "to", "to", first[-1].end, first[-1].end),
                *[t for t in second[3:] if t.sort != "to"],
            ]
            return [*statements[:index], joined, *statements[index + 2 :]]
    return statements


def _says_more(statement: Sequence[Token]) -> bool:
    """`Both brown.`, `Only a hand long, white with black.`: more about the wire of the sentence before."""
    said = [token for token in statement if token.sort not in ("gap", "comma", "stop", "note")]
    about = [token for token in said if token.sort in ABOUT]
    named = any(trade.is_noun(token.text) for token in said if token.sort == "word")
    return (
        bool(about)
        and not named
        and not any(token.sort in (*JOINS, "via", "colon", "plus") for token in said)
    )
