"""A measured kit beside the meter that it will be used with."""

from __future__ import annotations

from loomtest.diagnosis.markers.kit import TooNear, range_for, too_near
from loomtest.errors import InputError, Problem
from loomtest.readings.kitfile import Kit
from loomtest.readings.model import Instrument, Range
from loomtest.words.kit import too_near_text


def checked(kit: Kit, instrument: Instrument) -> tuple[Range, list[TooNear]]:
    """The range that the kit is read on, and what it leaves untold. Raises InputError for another meter's."""
    if kit.instrument and not instrument.assumed and kit.instrument != instrument.name:
        found = f"a kit measured with {kit.instrument}"
        expected = f"one measured with {instrument.name}, which is used here"
        raise InputError([Problem(kit.file, None, "instrument", found, expected)])
    highest = max(kit.clips, key=lambda clip: clip.ohms)
    held = range_for(instrument, highest.ohms)
    if held is None:
        found = f"{highest.marker} of {highest.ohms:g} ohm, beyond every range of {instrument.name}"
        raise InputError([Problem(kit.file, None, "ohms", found, "clips that the meter can read")])
    return held, too_near([clip.ohms for clip in kit.clips], held)


def usable(kit: Kit, instrument: Instrument) -> Range:
    """The range of a kit that tells all it should. Raises InputError with what to exchange."""
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
