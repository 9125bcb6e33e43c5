"""What things are called: the devices of a page, their spellings and their terminals.

Two mentions are one device when their words, written out, are the same. A name is the person's own, cleaned:
never a new one.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from loomtest.harness.notes import trade
from loomtest.harness.notes.mentions import CODE, Mention


@dataclass
class Names:
    """The devices of a page by their written-out names; `aliases` are those that the page declares."""

    spelled: dict[str, tuple[str, ...]] = field(default_factory=dict)
    seen: Counter[str] = field(default_factory=Counter)
    terminals: dict[str, set[str]] = field(default_factory=dict)
    aliases: dict[str, str] = field(default_factory=dict)
    headed: set[str] = field(default_factory=set)  # devices of headings: these are nobody's short names
    lines: dict[str, set[int]] = field(default_factory=dict)  # in which lines a name stands
    ended: set[str] = field(default_factory=set)  # at which a wire ends that was read
    labels: set[str] = field(default_factory=set)  # words that number the wires: `T1A22`
    points: Counter[str] = field(default_factory=Counter)
    gauge: bool = False  # the page gives sizes in AWG: `green 14` is one
    twin: bool = False  # the page speaks of the reds and the blacks: a lamp's + and its -
    hyphens: bool = False  # `C1-A4` is a cavity throughout the page
    fuses: str = ""  # the fuse block: `fuse 3` is its third
    read: dict[tuple[object, ...], Any] = field(
        default_factory=dict
    )  # what was read of the same words before
    kinds: dict[str, set[str]] = field(default_factory=dict)  # `clamp`: the devices that have one
    several: dict[str, set[str]] = field(default_factory=dict)  # `lamp`: numbers that tell lamps apart
    connectors: dict[str, tuple[str, ...]] = field(
        default_factory=dict
    )  # `A`: conn A, of which A3 is a cavity
    taken: dict[str, str] = field(default_factory=dict)  # short name: the longer one it stands for

    def add(self, mention: Mention, line: int = 0) -> None:
        """Count a mention in a place where only an end can stand."""
        if not mention.words:
            return
        self.read.clear()
        mention = self.told_apart(mention)
        key = self.alias(mention.key)
        self.spelled.setdefault(key, mention.words)
        self.seen[key] += 1
        self.lines.setdefault(key, set()).add(line)
        if mention.terminal:
            self.terminals.setdefault(key, set()).add(mention.terminal.upper())
            self.points[self.point(mention).casefold()] += 1

    def alias(self, key: str) -> str:
        """The written-out name that the page says this one stands for."""
        return self.aliases.get(key, key)

    def knows(self, mention: Mention) -> bool:
        """Whether the page has this device elsewhere."""
        return self.alias(mention.key) in self.seen

    def stands(self, key: str) -> int:
        """In how many lines the page has this name where an end can stand."""
        return len(self.lines.get(self.alias(key), ()))

    def is_ground(self, key: str) -> bool:
        """Whether a device is a ground: a `block` with cavities is none."""
        block = key.split()[-1:] == ["block"] and len(self.terminals.get(self.alias(key), ())) > 1
        return trade.is_ground(key) and not block

    def first(self, key: str) -> int:
        """The first line in which this name itself stands, or a large number."""
        return min(self.lines.get(key, ()), default=1_000_000)

    def how_many(self, noun: str) -> int:
        """How many devices of the page have a longer name that ends in this word."""
        return sum(key != noun and key.split()[-1] == noun for key in self.seen)

    def stands_elsewhere(self, word: str) -> bool:
        """Whether the page has a device of this one word, or says what it stands for."""
        key = Mention((word,)).key
        if key in self.aliases or key in self.seen:
            return True
        letters = word.rstrip("0123456789").casefold()  # `RP3`, where `RP1` and `RP2` are ends of wires
        if sum(key.rstrip("0123456789") == letters and key != letters for key in self.seen) > 1:
            return True
        return sum(other.split()[0] == key and other != key for other in self.seen) > 1  # `F1 load side`

    def settle(self) -> None:
        """Give `relay` the one relay of the page, `plug` the one plug: said, and never where two would do."""
        self.read.clear()
        for key in list(self.seen):
            first, _, rest = key.partition(" ")
            behind = f"{rest} {first}"  # `LH lamp` and `lamp LH`
            if first in trade.words("english", "sides") and behind in self.seen:
                early, late = sorted((key, behind), key=self.first)
                self.aliases.setdefault(late, early)
        for key in list(self.seen):
            code = key.split()[-1]
            if code != key and CODE.fullmatch(code) and self.stands(code) and trade.is_noun(key.split()[-2]):
                self.aliases.setdefault(key, self.alias(code))  # `fuse holder FH1` and `FH1`
        for kind, devices in self.kinds.items():
            if kind in self.seen and len(devices) == 1 and kind not in self.headed:
                self.aliases[kind] = self.taken[kind] = next(
                    iter(devices)
                )  # `clamp 3` of the only box with clamps
        for key in list(self.seen):
            if key not in trade.words("short", "words"):
                continue
            longer = [other for other in self.seen if other != key and other.split()[-1] == key]
            named = [other for other in longer if self.stands(other) > 1 or other in self.terminals]
            if len(longer) == 1 and named and key not in self.headed:
                self.aliases[key] = longer[0]
                self.taken[key] = longer[0]
        self._shortened()

    def _shortened(self) -> None:
        """One device under a shorter name: `key M`, `shell plug 2` and `NS cluster E`, where the page has one
        key switch with an M, one headlamp shell plug with a 2 and one NS rear cluster with an E."""
        found: dict[str, str] = {}
        for key, own in self.terminals.items():
            if key in self.headed or key in self.aliases or not Mention(tuple(key.split())).words:
                continue
            longer = [other for other in self.seen if other != key and _is_short_of(key, other)]
            switch = key in ("key", "ignition")  # never another thing than its switch
            if len(longer) == 1 and (switch or own <= self.terminals.get(longer[0], set())):
                found[key] = longer[0]
        for key, whole in found.items():
            if whole not in found:
                self.aliases[key] = self.taken[key] = whole

    def numbered(self, mention: Mention) -> Mention:
        """`fuse 3` as the third of the page's fuse block; `frame bolt FB1` as FB1, where that is a name."""
        if (lettered := self._cavity(mention)) is not None:
            return lettered
        code = mention.terminal.casefold()
        known = CODE.fullmatch(code) and (code in self.aliases or self.stands(code) > 1)
        if known and self.terminals.get(self.alias(mention.key)) == {mention.terminal.upper()}:
            return replace(mention, words=(mention.terminal,), terminal="")
        last = mention.words[-1].upper() if len(mention.words) > 1 and not mention.terminal else ""
        if last and last in self.terminals.get(self.alias(Mention(mention.words[:-1]).key), ()):
            return replace(mention, words=mention.words[:-1], terminal=mention.words[-1])
        if self.fuses and not mention.terminal:
            match = re.fullmatch(r"(?:fuse (?:number )?f?|f)(\d{1,2})", mention.key)
            have = self.terminals.get(self.fuses, set())
            if match and {match[1], f"F{match[1]}"} & have:
                cavity = match[1] if match[1] in have else f"F{match[1]}"
                return replace(mention, words=self.spelled[self.fuses], terminal=cavity)
        return mention

    def _cavity(self, mention: Mention) -> Mention | None:
        """`A3` as the third cavity of `conn A`, where no other device of the page is called A3."""
        word = mention.words[0] if len(mention.words) == 1 and not mention.terminal else ""
        code = re.fullmatch(r"([A-Z]{1,2})(\d{1,3})", word)
        if code is None or mention.key in self.headed or mention.key in self.aliases:
            return None
        words = self.connectors.get(code[1], ())
        return replace(mention, words=words, terminal=code[2]) if words else None

    def told_apart(self, mention: Mention) -> Mention:
        """`lamp 2` as a device, where the page has `lamps 1, 2 and 3`; else the mention."""
        numbers = self.several.get(mention.key) or self.several.get(mention.key.rpartition(" ")[2], set())
        if mention.terminal not in numbers:
            return mention
        return replace(mention, words=(*mention.words, mention.terminal), terminal="")

    def point(self, mention: Mention) -> str:
        """The point's name for a wire list: `light_switch:2`."""
        mention = self.told_apart(self.numbered(mention))
        key = self.alias(mention.key)
        words = self.spelled.get(key, mention.words)
        if words[-1:] != mention.words[-1:] and words[-1].casefold() == f"{mention.words[-1]}s".casefold():
            words = mention.words  # `light 1`, where the page has `saloon lights`
        cleaned = [clean(trade.spelled(word)) for word in words]
        if (
            len(cleaned) == 2
            and cleaned[1].isdigit()
            and mention.sort in ("ground", "joint")
            and len(cleaned) == 2
        ):
            cleaned = ["".join(cleaned)]
        name = "_".join(word for word in cleaned if word)
        terminal = clean(mention.terminal) if mention.terminal not in "+-" else mention.terminal
        if terminal and terminal[-1] not in "+-" and mention.terminal[-1] in "+-":
            terminal += mention.terminal[-1]  # `shunt B-`
        if terminal in ("+", "-") and key.split()[-1] == "battery":
            return name + terminal  # a battery's clamp is one point, as the wire list has it
        return f"{name}:{terminal}" if terminal else name


def _is_short_of(key: str, other: str) -> bool:
    """Whether a name is another one with a word left out: its first ones, its last, or those between."""
    words, whole = key.split(), other.split()
    left = len(whole) - len(words)
    last = trade.noun_sort(whole[-1])
    if left < 1 or last not in ("contact", ""):
        return False
    if whole[left:] == words:
        return True  # `shell plug`
    if left == 1 and whole[:-1] == words:
        return last == "contact" and not whole[-1].isdigit()  # `key`
    between = len(words) > 1 and whole[0] == words[0] and whole[-len(words) + 1 :] == words[1:]
    return between and left == 1  # `NS cluster`


@lru_cache(maxsize=65_536)
def clean(word: str) -> str:
    """A word as it can stand in a name: no quotation marks, full stops, commas or colons."""
    if re.fullmatch(r"[A-Z]{1,2}-", word):
        return word  # `B- post` is another one than the B+
    return re.sub(r"[\"'’.,;:#()\[\]\s]+", "", word.strip("-_")) or re.sub(r"[\"'’.,;:#()\[\]\s]+", "", word)
