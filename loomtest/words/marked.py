"""What is said about marker clips: doubts, hands and touches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomtest.diagnosis.markers.doubts import (
    ClipAstray,
    Damp,
    Doubt,
    LeaksAlone,
    MaybeClipsTouch,
    MuchInWire,
    NotRegistered,
    OtherMeter,
    ReadsNothing,
)
from loomtest.diagnosis.verdict import Finding
from loomtest.words.lines import all_of, capital
from loomtest.words.numbers import ohms, ohms_between, shown_ohms
from loomtest.words.places import Places, name_text

LOW_VOLTAGE = (
    "Marker clips were used: circuits that read their own clip are apart at the meter's own low voltage.",
    "Marker clips do not judge joints: measure pairs of points for those.",
)
BEFORE = (
    "Battery disconnected, shore plug, inverter, charger and solar panels too.",
    "Capacitor ignitions and strobes: unplug them and discharge them as their manual says.",
    "Unplug control units, lamps, relays and motors. Fuses stay. What stays in counts as not checked.",
    "Hands off metal: fingers read 0.2 to 1 MΩ.",
    "Never a pin past a connector's seal, never an oversize pin in a female terminal.",
    "Hold the meter on one range, the same as for the kit.",
)
AFTER = "Count the clips back into the bag before any plug goes on or power comes near."


def clips_text(names: Sequence[str]) -> str:
    """`clip M3`, `clips M3 and M4`, `no clip`."""
    if not names:
        return "no clip"
    return f"clip{'s' if len(names) > 1 else ''} {all_of(list(names))}"


def doubt_text(doubt: Doubt, finding: Finding, places: Places) -> str:
    """What is not decided, the thing first."""
    points = [places.point(point) for point in finding.points[:6]]
    if isinstance(doubt, NotRegistered):
        if doubt.reads:
            reads = f"{capital(points[1])} reads {clips_text(doubt.reads)}"
            reads += "" if doubt.clip in doubt.reads else f", not {doubt.clip}"
            return f"{reads}: swapped, or a clip sits wrong."
        if doubt.plug:
            return (
                f"{capital(points[1])} does not read clip {doubt.clip}, and no touch reads any other of "
                f"plug {doubt.plug}: the plug is off, or these wires are broken."
            )
        return f"{capital(points[1])} does not read clip {doubt.clip}: a broken wire, or the clip sits wrong."
    if isinstance(doubt, MaybeClipsTouch):
        if doubt.built_in:
            return f"A circuit reads like {all_of(points)} together: shorted, or a leak that looks the same."
        return f"The circuits of {all_of(points)} read alike: shorted, or {clips_text(doubt.clips)} touch."
    if isinstance(doubt, ClipAstray):
        return f"Clip {doubt.clip} is not on {points[0]}: it is off, or sits elsewhere."
    if isinstance(doubt, Damp):
        between = ohms_between(doubt.least_ohm, doubt.most_ohm)
        return f"The whole loom reads low, {between} to the common: damp, or corrosion that makes a voltage."
    if isinstance(doubt, LeaksAlone):
        return f"{capital(points[0])} leaks, about {ohms(doubt.ohm)}, and no touch says where to."
    if isinstance(doubt, MuchInWire):
        return f"About {ohms(doubt.ohm)} stand between {points[0]} and {points[1]}."
    if isinstance(doubt, ReadsNothing):
        read = shown_ohms(doubt.ohm)
        return f"{capital(points[0])} reads {read}, which no clips of the kit explain for sure."
    assert isinstance(doubt, OtherMeter)
    return "All touches read more than their clips: the kit was measured with another meter or range."


def next_touch_text(doubt: Doubt, finding: Finding, places: Places) -> str:
    """The one touch that settles it, the action first."""
    names = [name_text(point) for point in finding.points]
    if isinstance(doubt, NotRegistered):
        if doubt.plug:
            return f"Push marker plug {doubt.plug} home, and touch {names[1]} again."
        return f"Touch {names[0]} itself, where clip {doubt.clip} should be."
    if isinstance(doubt, MaybeClipsTouch):
        if doubt.built_in:
            return f"Take the marker plug off, and measure {names[0]} to {names[1]} as a pair."
        pulled = doubt.clips[0]
        pull = f"Pull clip {pulled} and touch its circuit again: a short that stays is in the loom."
        return f"Do the clips touch each other? {pull}"
    if isinstance(doubt, ClipAstray):
        return f"Put clip {doubt.clip} on {names[0]} and touch its circuit again."
    if isinstance(doubt, Damp):
        return "Swap the two leads and touch again; if it stays, dry the loom and its connectors."
    if isinstance(doubt, LeaksAlone):
        again = f"Keep your fingers off the metal and touch {names[0]} again"
        return f"{again}; if it stays, measure it to its neighbours."
    if isinstance(doubt, MuchInWire):
        return f"Measure {names[0]} to {names[1]} as a pair."
    if isinstance(doubt, ReadsNothing):
        return f"Touch {names[0]} again; if it stays, measure it to the other points of its circuit."
    return "Measure the kit again with this meter, on this range."


ON_COMMON = "The black lead stays on the common of the clips."
ON_THE_CLIP = "Its clip stays on: touch the terminal beside it."


def touch_sentence(point: str, again: bool) -> str:
    """What to touch: the place alone, no colour and no value."""
    return f"Red lead: {point}{', once more' if again else ''}. Hands off the metal."


def plug_text(plug: str, clips: Sequence[str]) -> str:
    """`marker plug X3 on X3 (M1 to M4)`: clips that follow each other by their first and last."""
    named = clips[0] if len(clips) == 1 else f"{clips[0]} to {clips[-1]}"
    return f"marker plug {plug} on {plug} ({named})"


def seat_sentences(
    reason: str, clips: Sequence[str], points: Mapping[str, str], plugs: Mapping[str, str] | None = None
) -> list[str]:
    """One sentence for each thing that the hands do. `plugs`: of built-in markers, the plug's connector."""
    built_in = plugs or {}
    there = dict.fromkeys(built_in[clip] for clip in clips if clip in built_in)
    if there:
        off = [f"Take marker plug {plug} off." for plug in there]
        on = [f"Put {plug_text(p, [c for c in clips if built_in.get(c) == p])}." for p in there]
        loose = [clip for clip in clips if clip not in built_in]
        return (off if reason == "pull" else on) + (seat_sentences(reason, loose, points) if loose else [])
    if reason == "pull":
        return [f"Pull {clips_text(clips)}, and leave the others. A short that stays is in the loom."]
    if reason == "apart":
        tail = "so that no metal touches another's"
        return [f"Clip {clip} on {points[clip]}, {tail}." for clip in clips]
    lead = "Put " if reason in ("again", "move") else ""
    return [f"{lead}{'c' if lead else 'C'}lip {clip} on {points[clip]}." for clip in clips if clip in points]


def over_range_text() -> str:
    """How over-range is said, and what it needs."""
    return "Over-range counts for 1 MΩ only when the meter chooses its range; type ol."


def read_text(names: Sequence[str], own: bool, low: bool) -> str:
    """What a touch read, told at once."""
    if low:
        return f"reads low for {clips_text(names)}: a leak, or fingers"
    if own:
        return "its own clip, and no other" if names else "no clip, as it should"
    return clips_text(names) if names else "no clip"
