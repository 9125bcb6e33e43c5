"""The second reading of a page: of each block the way of reading that makes its lines alike costs least."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from loomtest.harness.notes import trade
from loomtest.harness.notes.cells import says_empty, with_letters
from loomtest.harness.notes.meaning import Joint, Surroundings, UnsureError
from loomtest.harness.notes.members import expanded
from loomtest.harness.notes.mentions import Mention, mention_of
from loomtest.harness.notes.names import Names
from loomtest.harness.notes.roles import Page, PageLine
from loomtest.harness.notes.scan import Token
from loomtest.harness.notes.weighed.blocks import HeadedLines, blocks_of, statements_of
from loomtest.harness.notes.weighed.cuts import Cut, cuts_of, pin_of
from loomtest.harness.notes.weighed.lexicon import Lexicon, lexicon_of, said, weigh_point
from loomtest.harness.notes.weighed.pairing import NOT_READ, LineReading
from loomtest.harness.notes.weighed.readings import WAYS, readings_of

OTHER_WAY = 0.6  # what it costs a line to be read in another way than its block
MOST_OF_A_LINE = 4.0
MOST_READINGS = 8
PLURAL_UNKNOWN = 2.0
_PINNED = ("pin", "cell", "label")
_OF_A_RELAY = {"30", "85", "86", "87", "87A"}  # DIN 72552
_ITSELF = re.compile(
    r"(?i)\b(?:its|their|own)\s+(?:own\s+)?(?:\w+\s+)?"
    r"(?:bolts?|brackets?|screws?|bod(?:y|ies)|mount\w*|fixings?|studs?|sockets?|bases?)\b"
)
Row = tuple[int, list[list[LineReading]]]  # the index of a line, and what each of its statements can mean


@dataclass
class Weighed:
    """The readings of a statement, the likeliest first; how much dearer the next one with other ends is."""

    readings: list[LineReading]
    margin: float

    @property
    def reading(self) -> LineReading:
        """The likeliest."""
        return self.readings[0]


def weigh(page: Page) -> dict[int, list[Weighed]]:
    """The second reading of a page: by the index of each line, its statements."""
    found: dict[int, list[Weighed]] = {}
    lexicon = lexicon_of(page)
    for block in blocks_of(page, lexicon):
        found |= _read_block(block, page, lexicon)
    return found


def _read_block(block: HeadedLines, page: Page, lexicon: Lexicon) -> dict[int, list[Weighed]]:
    rows: list[Row] = []
    carried: Mention | None = None
    for index, tokens in block.lines:
        told, carried = _Line(page.lines[index], block, lexicon, carried).read(tokens)
        rows.append((index, told))
    if block.device is not None:
        _implausible(block, block.device, rows)
    style = min(WAYS, key=lambda way: _total(rows, way))
    return {index: [_best(options, style, page.names) for options in told] for index, told in rows}


def _total(rows: Sequence[Row], way: str) -> float:
    """What a block costs where its lines are read in one way, those that cannot be so in their own."""
    firsts = [told[0] for _, told in rows if told]
    dear = LineReading(MOST_OF_A_LINE, way=way)
    return sum(min(r.cost + (0.0 if r.way == way else 1.0) for r in [*options, dear]) for options in firsts)


def _implausible(block: HeadedLines, device: Mention, rows: Sequence[Row]) -> None:
    """Make dear what the heading's device makes unlikely: wires' numbers where it has cavities, a cavity
    beyond its last, a relay's terminal, and a cavity again further down, where a heading was missed."""
    words = {trade.long_form(word) for word in device.words}
    numbers = 0.8 if block.counted or words & said("boxes") or device.sort == "code" else 0.4
    relay = bool(words & said("relays"))
    used: set[str] = set()
    last = 0
    for options in (options for _, told in rows for options in told):
        own: set[str] = set()
        for reading in options:
            reading.cost += numbers if reading.way == "num" else 0.0
            pins = _pins(reading, device) if reading.way in _PINNED else set()
            number = max((int(pin) for pin in pins if pin.isdigit()), default=0)
            beyond = bool(block.ways) and number > block.ways
            foreign = not relay and bool(_OF_A_RELAY & pins) and number > max(20, last + 4)
            again = bool(pins & used) and number < last
            reading.cost += 2.0 if beyond or foreign else 1.5 if again else 0.0
            own |= pins
        used |= own
        last = max([last, *(int(pin) for pin in own if pin.isdigit() and int(pin) < last + 5)])


def _pins(reading: LineReading, device: Mention) -> set[str]:
    return {joint.start.terminal for joint in reading.joints if joint.start.words == device.words}


def _best(options: Iterable[LineReading], style: str, names: Names) -> Weighed:
    ranked = [r.dearer(0.0 if r.way in (style, "lead") else OTHER_WAY) for r in options]
    told: list[LineReading] = []
    for reading in sorted(ranked, key=lambda reading: reading.cost)[:MOST_READINGS]:
        try:
            reading.joints = _members(reading.joints, names)
            told.append(reading)
        except UnsureError:
            told.append(reading.dearer(PLURAL_UNKNOWN))
    if not told:
        return Weighed([LineReading(NOT_READ)], 0.0)
    told.sort(key=lambda reading: reading.cost)
    ends = ends_of(told[0], names)
    other = next((r.cost for r in told[1:] if ends_of(r, names) != ends), NOT_READ)
    return Weighed(told, other - told[0].cost)


def _members(joints: Sequence[Joint], names: Names) -> list[Joint]:
    """The wires with every plural end as the devices it means. Raises UnsureError where it is not plain."""
    scene = Surroundings(names)
    return [
        replace(joint, start=one, end=two)
        for joint in joints
        for one in expanded([joint.start], scene)
        for two in expanded([joint.end], scene)
    ]


def ends_of(reading: LineReading, names: Names) -> frozenset[frozenset[str]]:
    """The points that a reading joins, each wire's two without their order."""
    ends = ((names.point(joint.start), names.point(joint.end)) for joint in reading.joints)
    return frozenset(frozenset((one.casefold(), two.casefold())) for one, two in ends)


@dataclass
class _Line:
    """A line below a heading, and the device that the lines before spoke of."""

    line: PageLine
    block: HeadedLines
    lexicon: Lexicon
    carried: Mention | None

    def read(self, tokens: list[Token]) -> tuple[list[list[LineReading]], Mention | None]:
        """What each statement can mean; and the device that the next line may go on to speak of."""
        if len(tokens) > 2 and tokens[1].sort == "gap" and pin_of(tokens[:1]):
            tokens = [*tokens[:2], *with_letters(tokens[2:], {})]  # `4  B  earth ring`
        if self._is_empty(tokens):
            return [[LineReading(0.1, [], "pin")]], self.carried
        found: list[list[LineReading]] = []
        device, spoken = self.block.device, None
        statements = statements_of(tokens)
        for statement in statements:
            cuts = cuts_of(statement, self.lexicon)
            if len(statements) > 1 and (own := _alone(cuts)) is not None:
                device = self.carried = own
                continue
            options = list(self._readings(cuts, device, self.block.other))
            options += self._further(cuts, spoken, 0.1, ("pin", "cell"))
            if self.carried is not device:
                options += self._further(cuts, self.carried, 0.2, (*_PINNED, "hub"))
            led = _lead(statement, self.lexicon)
            if led is not None:
                own, rest, cost = led
                options += self._further(cuts_of(rest, self.lexicon), own, cost, WAYS[:-1], whole=True)
                device = self.carried = own
            elif (first := _first(cuts)) is not None:
                spoken = first
                self.carried = first if first.sort == "code" else self.carried
            found.append(options)
        return found, self.carried

    def _is_empty(self, tokens: Sequence[Token]) -> bool:
        rest = [token for token in tokens if token.sort != "hash"]
        signs = ("gap", "dash", "arrow", "colon", "stop", "comma", "and", "pin")
        while len(rest) > 1 and (rest[0].sort in signs or pin_of(rest[:1]) or pin_of(rest[:2])):
            rest = rest[1:]
        return len(rest) < len(tokens) and says_empty(self.line.text, rest)

    def _readings(
        self, cuts: Iterable[Cut], device: Mention | None, other: Mention | None = None
    ) -> Iterable[LineReading]:
        more = 2.0 if _ITSELF.search(self.line.text) else 0.0  # `earths through its own bracket`: no wire
        for cut in cuts:
            for reading in readings_of(cut, self.lexicon.names, device, other):
                yield reading.dearer(more)

    def _further(
        self,
        cuts: Iterable[Cut],
        device: Mention | None,
        more: float,
        ways: Sequence[str],
        *,
        whole: bool = False,
    ) -> list[LineReading]:
        """The readings below another device than the block's; `whole`: the words before it were its own."""
        found = []
        for reading in self._readings(cuts, device) if device is not None else ():
            if reading.way not in ways:
                continue
            cost = more + (0.4 if reading.way == "hub" and not whole else 0.0)
            reading.way = reading.way if reading.way == "own" else "lead"
            found.append(reading.dearer(cost))
        return found


def _alone(cuts: Sequence[Cut]) -> Mention | None:
    """The device of a sentence that names it and says no more: `Alternator. B+ to the battery.`"""
    for cut in cuts[:1]:
        core = [piece for piece in cut.pieces if piece.sort not in ("note", "list", "colon")]
        if len(core) == 1 and cut.cost < 1.3:
            return core[0].mention
    return None


def _first(cuts: Sequence[Cut]) -> Mention | None:
    """The device that a statement begins with, where it names a terminal of it."""
    pieces = cuts[0].pieces if cuts else ()
    first = next((piece.mention for piece in pieces if piece.sort in ("point", "pin", "join")), None)
    return replace(first, terminal="") if first is not None and first.terminal else None


def _lead(statement: Sequence[Token], lexicon: Lexicon) -> tuple[Mention, list[Token], float] | None:
    """`STARTER: big stud red to switch`, `relay: 85 to earth`: a device, a colon, and what is said of it."""
    for place, token in enumerate(statement[:9]):
        apart = token.sort == "dash" and place and statement[place - 1].end < token.start
        dash = apart and any(other.sort == "comma" for other in statement[place:])
        if not place or not (token.sort == "colon" or dash):
            continue
        head = [other for other in statement[:place] if other.sort not in ("note", "gap")]
        if len(head) > 1 and head[0].sort == "number" and len(head[0].text) < 3:
            head = head[1:]
        mention = mention_of(head) if head else None
        if mention is None or not mention.words or (dash and mention.terminal):
            return None
        more = 0.3 if dash else -0.2
        return mention, list(statement[place + 1 :]), weigh_point(mention, lexicon) + more
    return None
