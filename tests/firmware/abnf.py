"""An ABNF grammar (RFC 5234, with RFC 7405's %s) as a regular expression: enough for a protocol of lines."""

from __future__ import annotations

import re
from pathlib import Path

_TOKEN = re.compile(
    r"""\s*(?:;[^\n]*)?(?:
      (?P<string>(?:%[si])?"[^"]*") | (?P<value>%x[0-9A-F]+(?:-[0-9A-F]+|(?:\.[0-9A-F]+)+)?)
    | (?P<repeat>[0-9]*\*[0-9]*|[0-9]+) | (?P<name>[A-Za-z][A-Za-z0-9-]*) | (?P<mark>[()\[\]/]) )""",
    re.VERBOSE,
)


def grammar_of(markdown: Path) -> dict[str, str]:
    """The rules in a document's ```abnf block: name to what it stands for."""
    found = re.search(r"```abnf\n(.*?)```", markdown.read_text("utf-8"), re.DOTALL)
    assert found, f"{markdown} holds no grammar"
    rules: dict[str, str] = {}
    last = ""
    for line in found[1].splitlines():
        start = re.match(r"([A-Za-z][A-Za-z0-9-]*)\s*=\s*(.*)", line)
        if start:
            last = start[1]
            rules[last] = start[2]
        elif line.strip():
            rules[last] += " " + line.strip()
    return rules


def pattern(rules: dict[str, str], name: str) -> str:
    """A regular expression for one rule. Raises ValueError for what is not understood, KeyError for a
    rule that is missing."""
    return _Parser(rules, rules[name]).alternation()


class _Parser:
    def __init__(self, rules: dict[str, str], text: str) -> None:
        self._rules = rules
        self._tokens = []
        at = 0
        while text[at:].strip():
            match = _TOKEN.match(text, at)
            if not match:
                raise ValueError(f"not understood: {text[at:]!r}")
            self._tokens.append((str(match.lastgroup), match[match.lastgroup or ""]))
            at = match.end()

    def _next(self) -> tuple[str, str]:
        return self._tokens[0] if self._tokens else ("end", "")

    def alternation(self) -> str:
        branches = [self._concatenation()]
        while self._next() == ("mark", "/"):
            self._tokens.pop(0)
            branches.append(self._concatenation())
        return branches[0] if len(branches) == 1 else "(?:" + "|".join(branches) + ")"

    def _concatenation(self) -> str:
        out = ""
        while self._next()[0] != "end" and self._next()[1] not in ("/", ")", "]"):
            out += self._repetition()
        return out

    def _repetition(self) -> str:
        kind, text = self._next()
        if kind != "repeat":
            return self._element()
        self._tokens.pop(0)
        low, star, high = text.partition("*")
        return f"(?:{self._element()}){{{low or 0},{high}}}" if star else f"(?:{self._element()}){{{low}}}"

    def _element(self) -> str:
        kind, text = self._tokens.pop(0)
        if kind == "name":
            return "(?:" + pattern(self._rules, text) + ")"
        if kind == "string":
            bare = text[text.index('"') + 1 : -1]
            return re.escape(bare) if text.startswith("%s") else f"(?i:{re.escape(bare)})"
        if kind == "value":
            if "-" in text:
                low, high = (int(part, 16) for part in text[2:].split("-"))
                return f"[{re.escape(chr(low))}-{re.escape(chr(high))}]"
            return "".join(re.escape(chr(int(part, 16))) for part in text[2:].split("."))
        inside = self.alternation()
        closing = self._tokens.pop(0)[1]
        if (text, closing) not in (("(", ")"), ("[", "]")):
            raise ValueError(f"{text} closed by {closing}")
        return f"(?:{inside})" + ("?" if text == "[" else "")
