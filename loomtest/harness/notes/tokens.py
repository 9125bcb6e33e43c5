"""The tokens of a line of notes: words, numbers, arrows, measures, colours and signs, with their places.

A token says what stands there and nothing of what it means for a wire: that is the statement's grammar.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import pi

from loomtest.harness.colours import FILLERS, SHADES, colour_words
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
# Strands: 14/0.30 is fourteen of 0.30 mm; 7/.036 seven of 0.036 inch (British Standard practice before
# metrication; a diameter below 0.1 written with a bare point is inches).
_MASTER = re.compile(
    rf"""
    (?P<gap>\s*\|\s*|\s*\t\s*|\s{{2,}})
  | (?P<space>\s)
  | (?P<note>\([^()]*\)|\[[^\[\]]*\]|\{{[^{{}}]*\}})
  | (?P<sign_word>(?<![\w.])[+-]\s?ve\b\.?)
  | (?P<strands>(?<![\w./])\d{{1,3}}/(?:0?\.\d{{1,4}}|[12]\.\d{{1,2}})(?![\w/]))
  | (?P<awg>(?<![\w.])(?:awg\s*\#?\s*(?:\d/0|0{{1,4}}|\d{{1,2}})(?!\w)
      |\#?(?:\d/0|0{{1,4}}|\d{{1,2}})(?:\s*|-)(?:awg|ga|gauge)(?:\.(?=\s|$))?(?!\w)(?!\s*\#?\s*\d{{1,2}}(?![\d.,\'\"/]|\s*(?:m|mm|cm|in|ft|feet|foot|inch|sq|a|amps?)\b))
      |[1-4]/0(?!\w)))
  | (?P<mm2>(?<![\w.])(?:\d{{1,3}}(?:[.,]\d{{1,3}})?)\s*
      (?:mm2|mm²|mm\^2|sq\.?\s*mm|sqmm|qmm|mm\s*sq|sq|squares?)(?!\w))
  | (?P<feetinch>(?<![\w.])\d{{1,3}}\s*(?:ft|'|′)\s*\d{{1,2}}(?:\.\d+)?\s*(?:in|\"|''|″)(?!\w))
  | (?P<length>(?<![\w.])(?:{_N})
      (?:\ ?(?:metres?|meters?|mtrs?|inches|inch|feet|foot|mm|cm|ft|in|m)\.?(?![\w²^/+'])(?!-\w)(?!\s+line)
      |(?:\"|''|″|'|′|”)(?![\w\"'])))
  | (?P<din>(?<![\w.])(?:{_DIN})(?!\w)(?!\s*fuse))
  | (?P<amps>(?<![\w.])(?:{_N})\ ?(?:milliamps?|ma|amperes?|amps?|a)(?!\w))
  | (?P<measure>(?<![\w.])(?:{_N})\ ?(?:volts?|v|kw|w|watts?|(?:meg|m|k)?\ ?ohms?|[kM]?Ω|megs?
      |°|deg|rpm|ft-lb|lb|nm|%)(?!\w))
  | (?P<count>(?<![\w.])\d{{1,3}}[\s-]?(?:pins?|ways?|cores?)(?=\s+[a-z]))
  | (?P<back><[-=~–—]+(?!>)|←|⇐|⟵)
  | (?P<arrow><[-=~–—]*>|↔|⇔|[-=~–—―·]*(?:[>»→⇒⟶➔➜➝⇨►▶])+|-{{2,20}}|={{1,20}}|~+|(?<!\d)\.{{2,40}}
      |…+|—+|–{{2,}}|―+|<(?=\s))
  | (?P<ditto>-+\s?[“”"〃]\s?-+|[“”〃״]|(?<!\S)"(?=\s|$|[-.,)])|(?<!\S)''(?=\s|$)|(?<!\S),,(?!\S))
  | (?P<quest>\?+)
  | (?P<dotted>[A-Za-z][A-Za-z_]*\d*[./]\d{{1,3}}(?![\w./]))
  | (?P<word>\d+(?:\.\d+)+(?=\s|$|[,;)])
      |[^\W_](?:[\w]|(?<=[\w])[/'’&](?=\w)|(?<=\w)\.(?=[A-Za-z]\w*\b)|(?<=\w)-(?=\w))*
      (?:[+](?![\w\s]*\w)|[+-](?=[\s,;)]|$)(?<=[A-Za-z][+-]|[A-Z0-9][+-]))?)
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
# Conductor sizes sold for vehicles, mm²: ISO 6722-1 table 3 and common practice; the others stay numbers.
_SIZES = {
    "0.22", "0.35", "0.5", "0.50", "0.75", "0.85", "1.0", "1", "1.25", "1.5", "2.0", "2",
    "2.5", "3.0", "3", "4.0", "4", "5.0", "6.0", "8.0", "8.5", "10.0", "16.0",
}  # fmt: skip
_CONNECTORS = (("feeds", "feeds"), ("from", "from"), ("via", "via"), ("to", "to"))


def tokens_of(line: str, letters: Mapping[str, str] | None = None) -> list[Token]:
    """The tokens of a line; `letters` is the page's own key of single-letter colours (`R` to `red`)."""
    found: list[Token] = []
    for match in _MASTER.finditer(line):
        token = _token(match)
        if token is not None:
            found.append(token)
    return _coloured(_joined(line, found), letters or {})


def _token(match: re.Match[str]) -> Token | None:
    sort, text = str(match.lastgroup), match[0]
    start, end = match.span()
    if sort == "space":
        return None
    value = text
    if sort == "strands":
        count, _, across = text.partition("/")
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
    elif sort == "din":
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
    if unit == "mm" and float(number) <= 70:
        return "size?", number
    for short, spelled in (("mm", "mm"), ("cm", "cm"), ("m", "m"), ("in", 'in"”″'), ("ft", "f'′")):
        if unit == short or (unit[:1] in spelled and short not in ("mm", "cm", "m")):
            return ("length", f"{number} {short}") if unit != "''" else ("length", f"{number} in")
    return "length", f"{number} m"


def _joined(line: str, tokens: list[Token]) -> list[Token]:
    """Words of more than one piece that join two ends (`goes to`) as one token; `and`; abbreviations."""
    spans: dict[int, tuple[int, str]] = {}
    low = line.casefold()
    for sort, key in _CONNECTORS:
        for match in trade.pattern("joins", key).finditer(low):
            if spans.get(match.start(), (0, ""))[0] < match.end():
                spans[match.start()] = match.end(), sort
    found: list[Token] = []
    past = 0
    for index, token in enumerate(tokens):
        if token.start < past:
            continue
        if token.start in spans and token.sort == "word":
            past, sort = spans[token.start]
            found.append(Token(sort, line[token.start : past], sort, token.start, past))
        elif token.sort == "word" and token.text.casefold() in ("and", "plus", "n'"):
            found.append(replace(token, sort="and"))
        elif token.sort == "stop" and _abbreviates(tokens, index):
            whole = "number" if found[-1].text.casefold() == "no" else found[-1].text
            found[-1] = replace(found[-1], text=whole, end=token.end)
        elif token.sort == "word" and _is_ditto(tokens, index):
            found.append(replace(token, sort="ditto"))
        else:
            found.append(token)
    return found


def _is_ditto(tokens: list[Token], index: int) -> bool:
    """`ditto`, `same`; `do` where it fills a column of its own."""
    word = tokens[index].text.casefold()
    beside = [tokens[place].sort for place in (index - 1, index + 1) if 0 <= place < len(tokens)]
    return word in ("ditto", "same", "dto") or (word == "do" and set(beside) <= {"gap", "stop"})


def _abbreviates(tokens: list[Token], index: int) -> bool:
    """Whether a full stop ends a shortened word (`sol.`, `lt.`, `no.`) and no sentence."""
    if index == 0 or tokens[index - 1].end != tokens[index].start or tokens[index - 1].sort != "word":
        return False
    word = tokens[index - 1].text
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if len(word) == 1 and word.isupper() and after is not None and after.start > tokens[index].end:
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


def _coloured(tokens: list[Token], letters: Mapping[str, str]) -> list[Token]:
    """Runs of colour words as one token (`blue with white tracer`, `BK/WH`, `lt. blue`)."""
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        length = _colour_run(tokens, index)
        if length:
            run = tokens[index : index + length]
            text = " ".join(token.text for token in run)
            value = colour_words(text.replace("&", "/").replace(" a ", " ")).replace("-", "/")
            found.append(Token("colour", text, value, run[0].start, run[-1].end))
            index += length
            continue
        lettered = _lettered(tokens, index, letters)
        found.append(lettered or tokens[index])
        index += 1
    return found


def _colour_run(tokens: list[Token], index: int) -> int:
    """How many tokens from `index` on are one colour; 0 where none begins."""
    best, place, pieces = 0, index, list[str]()
    while place < len(tokens) and place - index < 7:
        token = tokens[place]
        word = token.text.casefold().rstrip(".")
        if token.sort == "word" and (
            word.endswith(("+", "-")) or (not pieces and word in ("light", "lt") and _is_lamp(tokens, place))
        ):
            break
        closes = best and word in ("stripe", "striped", "tracer", "trace", "stripes")
        if (
            token.sort == "word"
            and (trade.is_colour(token.text) or closes or _ends_in_shade(word))
            and word not in FILLERS - {"tracer", "trace", "stripe", "striped"}
        ):
            if (
                best
                and pieces
                and pieces[-1] not in ("/", "and", "with", "on")
                and not closes
                and "/" in token.text
            ):
                break
            pieces.append(token.text)
            best = place - index + 1
            if closes:
                break
        elif token.sort == "word" and word in SHADES | {"with", "on", "a"}:
            if word == "a" and (not pieces or pieces[-1] not in ("with", "on", "and")):
                break
            pieces.append(word)
        elif pieces and token.sort in ("slash", "and", "dash"):
            if token.sort == "dash" and token.start != tokens[place - 1].end:
                break
            if token.sort == "and" and not _tracer_follows(tokens, place):
                break
            pieces.append("and" if token.sort == "and" else "/")
        else:
            break
        place += 1
    return best


def _ends_in_shade(word: str) -> bool:
    first, stroke, last = word.rpartition("/")
    return bool(stroke) and last in SHADES and trade.is_colour(first)


_KINDS_OF_LIGHT = ("tail", "park", "stop", "turn", "plate", "pilot", "alarm")


def _is_lamp(tokens: list[Token], place: int) -> bool:
    """Whether `light` is a lamp and no shade: `rear light green`, and not `relay 2 light green`."""
    before = tokens[place - 1] if place else None
    return (
        before is not None
        and before.sort == "word"
        and len(before.text) > 2
        and (not trade.is_noun(before.text) or before.text.casefold() in _KINDS_OF_LIGHT)
    )


def _tracer_follows(tokens: list[Token], place: int) -> bool:
    """`yellow & green tracer` is one colour; `blue and brown` are two until one wire only is meant."""
    for token in tokens[place + 1 : place + 5]:
        if token.text.casefold() in ("tracer", "trace", "stripe", "striped"):
            return True
        if token.sort != "word" or not (
            trade.is_colour(token.text) or token.text.casefold() in SHADES | {"a"}
        ):
            return False
    return False


_SEPARATE = ("gap", "comma", "semi", "arrow", "back", "to", "from", "note", "dash", "size", "size?", "length",
             "amps", "decimal", "stop", "colour", "letters", "ditto", "quest", "colon")  # fmt: skip


def _lettered(tokens: list[Token], index: int, letters: Mapping[str, str]) -> Token | None:
    """A colour in single letters (`G/Y`): by the page's key where it has one, else of unknown meaning."""
    token = tokens[index]
    parts = token.text.split("/")
    if token.sort != "word" or not all(
        len(part) == 1 and part.isalpha() and part.isupper() for part in parts
    ):
        return None
    before = tokens[index - 1] if index else None
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    apart = (before is not None and before.sort in _SEPARATE) or (
        before is not None and (before.text == "of" or trade.is_filler(before.text))
    )
    apart = apart and (after is None or after.sort in _SEPARATE)
    if (
        letters
        and all(part in letters for part in parts)
        and (apart or (len(parts) > 1 and before is not None and after is None))
    ):
        if before is not None and before.sort in ("to", "from", "arrow", "back") and len(parts) == 1:
            return None
        value = colour_words("/".join(letters[part] for part in parts)).replace("-", "/")
        return replace(token, sort="colour", value=value)
    if not letters and apart and len(parts) == 2 and before is not None and before.sort != "dash":
        return replace(token, sort="letters")
    return None


def bare_size(token: Token) -> str:
    """The size that a bare number such as 2.5 is, in mm²; "" where it is none that is sold."""
    return token.text if token.text in _SIZES else ""


def colour_letters(text: str) -> dict[str, str]:
    """The key of single-letter colours that a line gives (`R red B black`, `(R = red, B = black)`)."""
    pairs = re.findall(r"(?<![\w/])([A-Z])\s*(?:=|:|-|is|for)?\s*([a-z]{3,9})(?![\w/])", text, re.I)
    found = {letter.upper(): word for letter, word in pairs if trade.is_colour(word) and letter.isupper()}
    return found if len(found) >= 3 else {}
