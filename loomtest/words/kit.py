"""What is said about a kit of marker clips: what to buy, what it tells, what to exchange."""

from __future__ import annotations

from collections.abc import Iterator, Set
from dataclasses import dataclass
from typing import Protocol

from loomtest.diagnosis.markers.kit import DRIFT_SHARE, KitChoice, TooNear, touch_sd_of
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.kitfile import Kit
from loomtest.readings.marked import Clip
from loomtest.readings.model import Range
from loomtest.words.lines import Line, all_of, wrapped
from loomtest.words.numbers import counted, ohms


class PlugFacts(Protocol):
    """What is said of a marker plug: its connector, its markers and where they are built in."""

    @property
    def connector(self) -> str:
        """The connector of the loom that it goes on."""

    @property
    def clips(self) -> tuple[Clip, ...]:
        """Its markers."""

    @property
    def left_out(self) -> tuple[str, ...]:
        """The points of the connector without one."""

    @property
    def measured(self) -> Set[str]:
        """The names of the markers whose ohms are measured."""


def nominal(ohm: float) -> str:
    """A resistor as shops name it: `8.25 kΩ`."""
    return f"{ohm / 1e3:g} kΩ" if ohm >= 1e3 else f"{ohm:g} Ω"


def kit_lines(choice: KitChoice, circuits: int | None) -> Iterator[Line]:
    """What to buy, on which range it is read, and why these values."""
    count = len(choice.ohms)
    yield Line(f"A kit of {count} marker clips", "head")
    if circuits is not None:
        rounds = -(-circuits // count)
        clips = "one clip for each" if rounds <= 1 else f"put on in {counted(rounds, 'round')}"
        yield from wrapped(f"{counted(circuits, 'circuit')} want a clip: {clips}.")
    yield Line("")
    yield from wrapped(
        f"Buy, of {choice.series}, 1 %, one each:", ", ".join(nominal(o) for o in choice.ohms) + "."
    )
    yield from wrapped(
        f"Hold the meter on its range up to {ohms(choice.range.up_to_ohms)}, for kit and loom."
    )
    yield Line("")
    yield Line("Why these", "head")
    yield from wrapped(*why_text(choice), indent=2)


def why_text(choice: KitChoice) -> tuple[str, ...]:
    """Each of the four things that must show, with this meter's figures."""
    held, least, most = choice.range, min(choice.ohms), max(choice.ohms)
    sds = touch_sd_of(least, held), touch_sd_of(most, held)
    margins = choice.margins
    return (
        f"A touch beside its clip's measured value is uncertain by {ohms(min(sds))} to {ohms(max(sds))}: the "
        f"display step of {ohms(held.resolution_ohms)}, twice, and a drift of {100 * DRIFT_SHARE:g} %.",
        f"The two nearest clips stand {margins.apart:.0f} times that apart.",
        f"Two clips side by side stand at least {margins.side_by_side:.0f} times that from any third.",
        f"A leak of 1 MΩ shows at {margins.leak:.1f} times that, and a joint of 100 Ω at "
        f"{margins.joint:.1f} times.",
        "Values over several decades would call a wire whole that has kilohms in it.",
    )


MIRROR = (
    "Seen from the plug's back, where its wires go in: as the loom's own connector looks from its front.",
    "How the cavities lie is not known: go by the numbers on the housing, not by the order here.",
)


@dataclass(frozen=True, slots=True)
class PlugCavity:
    """A cavity of a marker plug: its marker and the resistor's value in words, or "" and why it is empty."""

    cavity: str
    marker: str
    value: str
    ends: str


def plug_cavities(plug: PlugFacts, harness: Harness) -> list[PlugCavity]:
    """What goes into each cavity, in the order of the loom's list of points."""
    at = {clip.built_in: clip for clip in plug.clips}
    out = []
    for point in harness.points:
        if connector_of(point) != plug.connector:
            continue
        net = harness.nets[int(harness.net_of[harness.code_of[point]])]
        ends = ", ".join(harness.points[code] for code in net.points if harness.points[code] != point)
        clip, name = at.get(point), point.rpartition(":")[2]
        if clip is None:
            out.append(PlugCavity(name, "", "stays empty", ends))
            continue
        measured = clip.marker in plug.measured
        value = f"{clip.ohms:.0f} Ω" if measured else nominal(clip.ohms)
        out.append(PlugCavity(name, clip.marker, value, ends))
    return out


def plug_lines(plug: PlugFacts, harness: Harness, kit: str) -> Iterator[Line]:
    """How a marker plug is built, and what to do with it."""
    rows = plug_cavities(plug, harness)
    yield Line(f"Marker plug {plug.connector}", "head")
    yield from wrapped(
        f"The connector that mates with {plug.connector}, and {counted(len(plug.clips), 'resistor')} of 1 %, "
        "0.25 W. One end of each goes into its cavity; the other ends are joined and go to the common of the "
        "kit by one lead."
    )
    yield Line("")
    yield Line("  cavity  marker  resistor     circuit goes on to")
    for row in rows:
        marker = row.marker or "-"
        yield Line(f"  {row.cavity:<8}{marker:<8}{row.value:<13}{row.ends}"[:79].rstrip())
    yield Line("")
    if plug.left_out:
        yield from wrapped(
            "What stays empty has two cavities here, ends nowhere else, or has its marker in another plug: "
            "loose clips are for that, with the plug off."
        )
    unmeasured = [clip.marker for clip in plug.clips if clip.marker not in plug.measured]
    if unmeasured:
        yield from wrapped(
            f"Next: build it, measure each cavity of the plug to the common, and write the ohms into {kit} "
            f"({unmeasured[0]} to {unmeasured[-1]}). That also shows that no two of its terminals touch.",
            tone="doubt",
        )
    else:
        yield from wrapped(f"All its markers are measured in {kit}.", tone="good")


def measured_lines(kit: Kit, held: Range, near: list[TooNear]) -> Iterator[Line]:
    """What a measured kit can tell, and which clips to exchange."""
    yield Line(f"{kit.file}: {counted(len(kit.clips), 'clip')}", "head")
    yield from wrapped(f"Read on the meter's range up to {ohms(held.up_to_ohms)}.")
    if not near:
        yield from wrapped("All clips can be told apart, and two side by side from every third.", tone="good")
        return
    yield from wrapped(*(too_near_text(kit, one) for one in near), tone="doubt")


def too_near_text(kit: Kit, near: TooNear) -> str:
    """Which clips the meter cannot tell apart, and which one to exchange."""
    names = [kit.clips[index].marker for index in near.one]
    other = kit.clips[near.other].marker
    one = names[0] if len(names) == 1 else f"{all_of(names)} side by side"
    return (
        f"{one} and {other} stand {100 * near.share:.2f} % apart, and {100 * near.wanted:.2f} % is wanted: "
        f"change {kit.clips[near.exchange].marker} for another value."
    )
