"""Lines of a sitting with marker clips: `next`, and `POINT COMMON VALUE [note]`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from loomtest.commands.log.request import LogRequest

if TYPE_CHECKING:
    from loomtest.harness.model import Harness
    from loomtest.readings.model import Instrument
    from loomtest.readings.run import Reading, RunWriter


class MarkedLines:
    """What a script says and asks. Clips count as put on once `next` has named them."""

    def __init__(self, harness: Harness, request: LogRequest, instrument: Instrument | None) -> None:
        from loomtest.readings.generic import generic_handheld

        self._harness, self._request = harness, request
        self._instrument = instrument or generic_handheld()
        self._plan, self._held = request.marked_plan(harness, self._instrument)
        self._plugs = {one.clip.marker: one.clip.plug for one in self._plan.placings if one.clip.plug}
        self._away: set[str] = set()  # points that should read no clip

    def next(self, writer: RunWriter) -> str:
        """One line: the clips of a new round with their points, the point to touch, or that all is done."""
        from loomtest.bench.plan.marked_next import Seating, next_in_round
        from loomtest.readings.load import load_readings
        from loomtest.words.marked import AFTER

        marked = load_readings(self._request.out, self._harness).marked
        ask = next_in_round(self._harness, self._plan, marked, self._instrument)
        if ask is None:
            return f"nothing more. {AFTER}"
        if isinstance(ask, Seating):
            writer.seat(ask.round, [(one.clip, one.point) for one in ask.placings])
            points = {one.clip.marker: one.point for one in ask.placings}
            told = [f"{clip} {points[clip]}" if clip in points else f"{clip} off" for clip in ask.clips]
            plugs = [
                f"plug {name}" for name in dict.fromkeys(self._plugs.get(c, "") for c in ask.clips) if name
            ]
            told = [*plugs, *told]
            return f"round {ask.round}, {ask.reason}: {', '.join(told)}"
        if ask.expected_ohms == math.inf:
            self._away.add(ask.point)
        return f"touch {ask.point}"

    def read(self, line: str) -> Reading:
        """A touch in the last round. Raises ValueError."""
        from loomtest.bench.session.by_hand import point_of, typed_value
        from loomtest.readings.marked import COMMON
        from loomtest.readings.run import Reading
        from loomtest.readings.runfile import seats_in

        words = line.split()
        if len(words) < 3:
            raise ValueError(f"found {line.strip()!r}; expected POINT {COMMON} VALUE [note]")
        point = point_of(words[1] if words[0] == COMMON else words[0], self._harness)
        seats = seats_in(self._request.out)
        if not seats:
            raise ValueError("no clip is on the loom yet: say next, and put the clips on as it answers")
        value = "OL" if words[2].casefold() == "o" else words[2]
        held = math.isinf(typed_value(value)) and point not in self._away
        return Reading(
            point,
            COMMON,
            value,
            range_ohms=self._held.up_to_ohms if held else None,
            note=" ".join(words[3:]),
            round=max(seat.round for seat in seats),
        )
