"""The tokens of a line before colours are told: words, numbers, arrows, measures and signs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi

from loomtest.harness.colours import SHADES
from loomtest.harness.notes import trade


@dataclass(frozen=True, slots=True)
class Token:
    """`sort`, its text, what it means in our own spelling, and where it stands in the line."""

    sort: str
    text: str
    value: str
    start: int
    end: int


_N = r"\d{1,5}(?:[.,]\d{1,3})?"
_DIN = "|".join(
    sorted(word for word in trade.words("terminals", "din") if word != "15a" and not word.isdigit())
)
_END = r"(?![\w²^/])"
# How many strands vehicle cable has (common practice): `28/30` is 28 of 0.30 mm, `44/012` 44 of 0.012 inch.
_STRANDS = "9|14|21|28|35|44|65|84|97|120"
# Strands: 14/0.30 is fourteen of 0.30 mm; 7/.036 seven of 0.036 inch (British Standard practice before
# metrication; a diameter below 0.1 written with a bare point is inches).
_MASTER = re.compile(
    rf"""
    (?P<gap>\s*\|\s*|\s*\t\s*|\s{{2,}})
  | (?P<space>\s)
  | (?P<note>\([^()]*\)|\[[^\[\]]*\]|\{{[^{{}}]*\}})
  | (?P<sign_word>(?<![\w.])[+-]\s?ve\b\.?)
  | (?P<strands>(?<![\w./])(?:\d{{1,3}}/(?:0?\.\d{{1,4}}|[12]\.\d{{1,2}})|(?:{_STRANDS})/(?:30|012))(?![\w/]))
  | (?P<awg>(?<![\w.])(?:awg\s*\#?\s*(?:\d/0|0{{1,4}}|\d{{1,2}})(?!\w)
      |\#?(?:\d/0|0{{1,4}}|\d{{1,2}})(?:\s*|-)(?:awg|ga|gauge|b\s?&\s?s)(?:\.(?=\s|$))?(?!\w)(?!\s*\#?\s*\d{{1,2}}(?![\d.,\'\"/]|\s*(?:m|mm|cm|in|ft|feet|foot|inch|sq|a|amps?)\b))
      |[1-4]/0(?!\w)))
  | (?P<mm2>(?<![\w.])(?:\d{{1,3}}(?:[.,]\d{{1,3}})?)\s*
      (?:mm2|mm²|mm\^2|sq\.?\s*mm|sqmm|qmm|mm\s*sq(?:uared)?|sq|squares?)(?!\w))
  | (?P<feetinch>(?<![\w.])\d{{1,3}}\s*(?:ft|'|′)\s*\d{{1,2}}(?:\.\d+)?\s*(?:in|\"|''|″)(?!\w))
  | (?P<length>(?<![\w.])(?:{_N})
      (?:\ ?(?:metres?|meters?|mtrs?|yards?|yds?|inches|inch|feet|foot|mil|mm|cm|ft|m
         |in(?=\.?\s*(?:$|[,;.)|\t]|\s{{2}}|long\b)))\.?
         (?![\w²^/+'])(?!-\w)(?!\s+line)
      |(?:\"|''|″|'|′|”)(?![\w\"'])))
  | (?P<din>(?<![\w.])(?:{_DIN})(?!\w)(?!\s*fuse))
  | (?P<amps>(?<![\w.])(?:{_N})[\ -]?(?:milliamps?|ma|amperes?|amps?|a)(?!\w))
  | (?P<volts>(?<![\w.])[+-]?\d{{1,2}}(?:\.\d)?[Vv](?![\w/])(?=\s|$|[,;.)]))
  | (?P<measure>(?<![\w.])(?:{_N})\ ?(?:volts?|v|kw|w|watts?|(?:meg|m|k)?\ ?ohms?|[kM]?Ω|megs?
      |°|deg|rpm|ft-lb|lb|nm|%)(?!\w))
  | (?P<count>(?<![\w.])\d{{1,3}}[\s-]?(?:pins?|ways?|cores?)(?=\s+[a-z]))
  | (?P<back><[-=~–—]+(?!>)|←|⇐|⟵)
  | (?P<arrow><[-=~–—]*>|↔|⇔|[-=~–—―·]*(?:[>»→⇒⟶➔➜➝⇨►▶])+|-{{2,20}}|={{1,20}}|~+|(?<!\d)\.{{2,40}}
      |(?:\.[ ]){{2,20}}\.?|…+|—+|–{{2,}}|―+|<(?=\s))
  | (?P<ditto>-+\s?[“”"〃]\s?-+|[“”〃״]|(?<!\S)"(?=\s|$|[-.,)])|(?<!\S)''(?=\s|$)|(?<!\S),,(?!\S))
  | (?P<quest>\?+)
  | (?P<dotted>[A-Za-z][A-Za-z_]*\d*[./]\d{{1,3}}(?![\w./]))
  | (?P<lead>(?<!\w)(?:pin|way|cav|term)s?(?=\d{{1,3}}(?!\w)))
  | (?P<word>\d+(?:\.\d+)+(?=\s|$|[,;)])
      |[^\W_](?:[\w]|(?<=[\w])[/'’&](?=\w)|(?<=\w)\.(?=[A-Za-z]\w*\b)|(?<=\w)-(?=\w))*
      (?:[+](?![\w\s]*\w)|[+-](?=[\s,;:)]|$)(?<=[A-Za-z][+-]|[A-Z0-9][+-]))?)
  | (?P<sign>.)
    """,
    re.VERBOSE | re.IGNORECASE | re.DOTALL,
)
_SIGNS = {
    ",": "comma", ";": "semi", ".": "stop", ":": "colon", "/": "slash", "&": "and", "+": "plus",
    "-": "dash", "–": "dash", "#": "hash",
    "_": "space", "!": "space", '"': "space", "*": "space", "'": "space",
}  # fmt: skip
_NUMBER = re.compile(r"\d{1,4}")
_DECIMAL = re.compile(r"\d{1,3}\.\d{1,2}")


def scanned(line: str) -> list[Token]:
    """The tokens of a line; words of more than one piece that join two ends are one."""
    return list(_scanned(line))


@lru_cache(maxsize=4096)  # a line is scanned for what it is, and again for what it says
def _scanned(line: str) -> tuple[Token, ...]:
    found: list[Token] = []
    for match in _MASTER.finditer(line):
        token = _token(match)
        if token is not None:
            found.append(token)
    return tuple(_joined(line, found))


def _token(match: re.Match[str]) -> Token | None:
    sort, text = str(match.lastgroup), match[0]
    start, end = match.span()
    if sort == "space":
        return None
    value = text
    if sort == "strands":
        count, _, across = text.partition("/")
        across = {"30": "0.30", "012": ".012"}.get(across, across)
        wide = float(across) * (25.4 if across.startswith((".", "0.0")) and float(across) < 0.1 else 1.0)
        sort, value = "size", f"{int(count) * pi / 4 * wide * wide:.2f}".rstrip("0").rstrip(".")
    elif sort == "awg":
        number = re.search(r"\d/0|\d+", text)
        sort, value = "size", f"AWG {number[0] if number else ''}"
    elif sort == "mm2":
        number = re.match(r"[\d.,]+", text)
        sort, value = "size", number[0].replace(",", ".") if number else ""
    elif sort == "feetinch":
        feet, inches = re.findall(r"[\d.]+", text)[:2]
        sort, value = "length", f"{feet} ft {inches} in"
    elif sort == "length":
        sort, value = _length(text)
    elif sort == "amps":
        number = re.match(r"[\d.,]+", text)
        small = "m" in text.casefold().replace("amp", "")
        value = f"{number[0].replace(',', '.') if number else ''} {'mA' if small else 'A'}"
    elif sort == "note":
        value = text[1:-1].strip()
    elif sort == "sign_word":  # `+ve`
        sort, text = "word", "positive" if text[0] == "+" else "negative"
    elif sort == "dotted":
        sort, text = "word", re.sub(r"[./]", "-", text)
    elif sort == "volts":
        sort = "measure" if text[0].isdigit() else "word"
    elif sort in ("din", "lead"):
        sort = "word"
    elif sort == "count":
        sort, text = "word", re.sub(r"\s", "-", text)
    elif sort == "sign":
        sort = _SIGNS.get(text, "space")
        if sort == "space":
            return None
    elif sort == "word" and _NUMBER.fullmatch(text):
        sort = "number"
    elif sort == "word" and _DECIMAL.fullmatch(text):
        sort = "decimal"
    return Token(sort, text, value, start, end)


def _length(text: str) -> tuple[str, str]:
    """A length; or a size, where a wire's millimetres are too few to be one: `6 mm` is 6 mm² said shortly."""
    number, unit = re.match(r"([\d.,]+)\s*(.*)", text).groups()  # type: ignore[union-attr]  # begins with a figure
    number, unit = number.replace(",", "."), unit.casefold().rstrip(".")
    unit = "mm" if unit == "mil" else unit  # `6 mil`, as it is spoken
    if unit == "mm" and float(number) <= 70:
        return "size?", number
    if unit.startswith("y"):
        return "length", f"{float(number) * 3:g} ft"
    for short, spelled in (("mm", "mm"), ("cm", "cm"), ("m", "m"), ("in", 'in"”″'), ("ft", "f'′")):
        if unit == short or (unit[:1] in spelled and short not in ("mm", "cm", "m")):
            return ("length", f"{number} {short}") if unit != "''" else ("length", f"{number} in")
    return "length", f"{number} m"


def _joined(line: str, tokens: list[Token]) -> list[Token]:
    """Words of more than one piece that join two ends (`goes to`) as one token; `and`; abbreviations."""
    spans: dict[int, tuple[int, str]] = {}
    low = line.casefold()
    for sort, pattern in trade.joins():
        for match in pattern.finditer(low):
            if spans.get(match.start(), (0, ""))[0] < match.end():
                spans[match.start()] = match.end(), sort
    found: list[Token] = []
    past = 0
    for index, token in enumerate(tokens):
        if token.start < past:
            continue
        if token.start in spans and found and _is_of_the_name(token, found[-1], line):
            if later := _phrase_at(low, tokens[index + 1].start if index + 1 < len(tokens) else len(low)):
                spans[tokens[index + 1].start] = later
            del spans[token.start]
        if token.sort == "amps" and _is_an_article(token, tokens[index + 1 : index + 2]):
            number = token.text.partition(" ")[0]
            found.append(Token("number", number, number, token.start, token.start + len(number)))
            found.append(Token("word", "a", "a", token.end - 1, token.end))
        elif token.sort == "length" and found and _is_a_terminal(token, found[-1]):
            number, _, unit = token.text.partition(" ")
            found.append(Token("number", number, number, token.start, token.start + len(number)))
            found.append(Token("word", unit, unit, token.end - len(unit), token.end))
        elif token.sort == "length" and token.text[-1] == "." and _begins_anew(tokens[index + 1 : index + 3]):
            found.append(replace(token, text=token.text[:-1], end=token.end - 1))
            found.append(Token("stop", ".", ".", token.end - 1, token.end))
        elif token.start in spans and token.sort == "word" and not _is_denied(found):
            past, sort = spans[token.start]
            found.append(Token(sort, line[token.start : past], sort, token.start, past))
        elif token.sort == "word" and _is_and(tokens, index):
            found.append(replace(token, sort="and"))
        elif token.sort == "stop" and _abbreviates(tokens, index):
            plate = index + 1 < len(tokens) and tokens[index + 1].text.casefold().startswith("plate")
            said = "no." if plate else "number"  # a number plate's lamp is called as the page calls it
            whole = said if found[-1].text.casefold() == "no" else found[-1].text
            found[-1] = replace(found[-1], text=whole, end=token.end)
        elif token.sort == "word" and _is_ditto(tokens, index):
            found.append(replace(token, sort="ditto"))
        else:
            found.append(token)
    return found


def _phrase_at(low: str, start: int) -> tuple[int, str] | None:
    """Where the longest phrase of joining that begins here ends, and its sort."""
    found = [(match.end(), sort) for sort, pattern in trade.joins() if (match := pattern.match(low, start))]
    return max(found, default=None)


def _is_of_the_name(token: Token, before: Token, line: str) -> bool:
    """`frame lug under`, `main fuse in comes off`, `fuse box feed to`: what a phrase of joining begins with
    ends the name before it, where it is no verb: the verb of one device has its ending."""
    low, device = token.text.casefold(), before.text
    shown = token.text.isupper() and not line.isupper() and before.sort in ("word", "number")
    if shown and low in ("in", "out", "up", "down", "on", "off"):
        return True  # `cab switch OUT to fuse 3`
    if before.sort != "word" or before.end + 1 != token.start or not trade.is_noun(device):
        return False
    if trade.long_form(device) != device.casefold() and device.casefold().endswith("s"):
        return False
    if token.text == "OUT" and before.text.islower() and trade.noun_sort(device) == "contact":
        return True
    if low in ("in", "lug", "bolt", "screw", "clamp", "tag", "strap", "clip", "peg", "pin", "stud"):
        return True
    return low in ("feed", "supply", "return", "output", "input") and trade.noun_sort(device) == "contact"


def _is_denied(before: Sequence[Token]) -> bool:
    """`NOT connected to`, `is never joined to`: what joins nothing."""
    return any(token.text.casefold() in ("not", "never", "isn't", "isnt", "aren't") for token in before[-2:])


def _is_an_article(token: Token, behind: Sequence[Token]) -> bool:
    """`from solenoid 1 a thinner red wire`: no ampere."""
    said = (
        "fuse",
        "breaker",
        "blade",
        "inline",
        "in-line",
        "glass",
        "slow",
        "fast",
        "quick",
        "type",
        "in",
        "at",
        "max",
    )
    return (
        token.text.endswith(" a")
        and bool(behind)
        and behind[0].sort == "word"
        and (behind[0].text.casefold() not in said)
    )


def _ends_sentences(tokens: Sequence[Token]) -> bool:
    """Whether full stops with a wide space behind them end the sentences of a line."""
    return any(
        stop.sort == "stop"
        and behind.sort == "gap"
        and (before.sort != "word" or trade.long_form(before.text) == before.text.casefold())
        for before, stop, behind in zip(tokens, tokens[1:], tokens[2:], strict=False)
    )


def _begins_anew(behind: Sequence[Token]) -> bool:
    """Whether a sentence begins behind the full stop of `6 ft.`: a wide space, or a capital."""
    return bool(behind) and (behind[0].sort == "gap" or behind[0].text[:1].isupper())


def _is_a_terminal(token: Token, before: Token) -> bool:
    """`fuse 1 in` is where the feed comes in, and not an inch."""
    return (
        token.text[-3:] == " in"
        and before.sort == "word"
        and before.end < token.start
        and (trade.is_noun(before.text) or before.text.casefold().endswith(("box", "block", "switch")))
    )


def _is_and(tokens: list[Token], index: int) -> bool:
    """`and`; `plus` where a further name follows: behind `battery` it is the terminal."""
    word = tokens[index].text.casefold()
    if word != "plus":
        return word in ("and", "n'")
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    before = tokens[index - 1].sort if index else ""
    named = before in ("word", "number", "plus", "note") and not trade.is_filler(tokens[index - 1].text)
    if before == "comma" and after is not None and after.text.casefold() in _ARTICLES:
        return True  # `…, plus a braid from the engine to the frame`
    own = after is not None and trade.long_form(after.text) in _OF_A_SIGN  # `plus bar`
    return after is not None and named and not own and after.sort == "word" and not trade.is_odd(after.text)


_ARTICLES = ("a", "an", "the", "another", "one")
_OF_A_SIGN = {
    "bus",
    "bar",
    "rail",
    "post",
    "pole",
    "terminal",
    "stud",
    "clamp",
    "strip",
    "side",
    "feed",
    "tag",
}


def _is_ditto(tokens: list[Token], index: int) -> bool:
    """`ditto`, `same`; `do` where it fills a column of its own."""
    word = tokens[index].text.casefold()
    beside = [tokens[place].sort for place in (index - 1, index + 1) if 0 <= place < len(tokens)]
    if word == "same":  # `same` where a column or a statement ends; `the same way` is prose
        return not {"word", "number", "colour"} & set(beside)
    return word in ("ditto", "dto", "idem", "id") or (word == "do" and set(beside) <= {"gap", "stop"})


def _abbreviates(tokens: list[Token], index: int) -> bool:
    """Whether a full stop ends a shortened word (`sol.`, `lt.`, `no.`) and no sentence."""
    if index == 0 or tokens[index - 1].end != tokens[index].start or tokens[index - 1].sort != "word":
        return False
    word = tokens[index - 1].text
    sentence = word.casefold() in trade.words("english", "function") and word.casefold() not in ("no", "do")
    wide = index + 1 < len(tokens) and tokens[index + 1].sort == "gap"
    plural = wide and len(word) > 5 and word[-1] in "sS" and trade.is_noun(word[:-1])
    if sentence or plural or any(letter.isdigit() for letter in word):
        return False  # `two wires in it. White to …`, `splice S1. One to …`
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if after is not None and after.sort == "gap" and _ends_sentences(tokens):
        return False  # `Hoist.  1 red to motor pos.  2 black to lug`
    apart = after is not None and (after.sort == "gap" or after.start > tokens[index].end)
    if len(word) == 1 and word.isupper() and apart:
        return False
    short = trade.long_form(word) != word.casefold() or word.casefold() in SHADES or len(word) <= 2
    if after is None:
        return True
    if after.text.casefold() in ("all", "both", "each", "also"):
        return False
    glued = after.start == tokens[index].end
    return (short and (glued or not after.text[:1].isupper() or len(word) <= 2)) or (
        len(word) <= 5
        and not trade.is_colour(word)
        and after.text[:1].islower()
        and not trade.is_noun(word)
        and after.sort == "word"
    )
