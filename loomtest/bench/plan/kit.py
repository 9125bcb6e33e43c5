"""A measured kit beside the meter that it will be used with."""

from __future__ import annotations

from dataclasses import replace

from loomtest.diagnosis.markers.kit import TooNear, range_for, too_near
from loomtest.errors import InputError, Problem, nearest
from loomtest.harness.model import Harness, connector_of
from loomtest.readings.kitfile import Kit
from loomtest.readings.model import Instrument, Range
from loomtest.words.kit import too_near_text


def checked(kit: Kit, instrument: Instrument) -> tuple[Range, list[TooNear]]:
    """The range that the kit is read on, and what it leaves untold: among the loose clips, and in each plug;
    what cannot be told apart otherwise is never on in one round. Raises InputError for another meter's."""
    if kit.instrument and not instrument.assumed and kit.instrument != instrument.name:
        found = f"a kit measured with {kit.instrument}"
        expected = f"one measured with {instrument.name}, which is used here"
        raise InputError([Problem(kit.file, None, "instrument", found, expected)])
    highest = max(kit.clips, key=lambda clip: clip.ohms)
    held = range_for(instrument, highest.ohms)
    if held is None:
        found = f"{highest.marker} of {highest.ohms:g} ohm, beyond every range of {instrument.name}"
        raise InputError([Problem(kit.file, None, "ohms", found, "clips that the meter can read")])
    near: list[TooNear] = []
    for plug in dict.fromkeys(clip.plug for clip in kit.clips):
        at = [index for index, clip in enumerate(kit.clips) if clip.plug == plug]
        for one in too_near([kit.clips[index].ohms for index in at], held):
            pair = tuple(at[index] for index in one.one)
            near.append(replace(one, one=pair, other=at[one.other], exchange=at[one.exchange]))
    return held, near


def usable(kit: Kit, instrument: Instrument, harness: Harness) -> Range:
    """The range of a kit that tells all it should. Raises InputError with what to exchange, and where a
    marker plug does not fit the loom."""
    check_plugs(kit, harness)
    held, near = checked(kit, instrument)
    if near:
        problems = [
            Problem(
                kit.file, None, "ohms", too_near_text(kit, one).rstrip("."), "clips that can be told apart"
            )
            for one in near
        ]
        raise InputError(problems)
    return held


def check_plugs(kit: Kit, harness: Harness) -> None:
    """Raises InputError where a plug has a marker in a cavity that the loom has not, in one of a restraint
    system, or two on one circuit."""
    problems: list[Problem] = []
    on: dict[tuple[str, int], str] = {}
    for clip in kit.clips:
        point = clip.built_in
        if not point:
            continue
        if point not in harness.code_of:
            beside = [other for other in harness.points if connector_of(other) == clip.plug]
            expected = "a cavity of the loom: " + ", ".join(nearest(point, harness.points) or beside[:5])
            problems.append(Problem(kit.file, None, "point", f"{clip.marker} at {point}", expected))
        elif point in harness.untouchable:
            expected = "no marker on a restraint system: take it out of the plug"
            problems.append(Problem(kit.file, None, "point", f"{clip.marker} at {point}", expected))
        else:
            before = on.setdefault((clip.plug, int(harness.net_of[harness.code_of[point]])), point)
            if before != point:
                found = f"{clip.marker} at {point}, which the wire list joins to {before}"
                problems.append(
                    Problem(kit.file, None, "point", found, "one marker on each circuit of a plug")
                )
    if problems:
        raise InputError(problems)
