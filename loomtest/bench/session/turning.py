"""What the meter is turned to, and the current that flows while drops are read."""

from __future__ import annotations

from typing import Literal

from loomtest.bench.meter.capture import Capture
from loomtest.bench.plan.plan import Step
from loomtest.bench.session.by_hand import placing_value, quantity_of
from loomtest.bench.session.events import Event, TurnTo
from loomtest.readings.model import Instrument


class Turning:
    """One meter: its function, and the typed volts and farads for which it is turned by hand."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._function = "resistance"  # "" for volts and farads
        self._amps: float | None = None
        self._ohms, self._volts = Capture(instrument), Capture(None)

    @property
    def ohms(self) -> Capture:
        """What takes resistances off a meter."""
        return self._ohms

    def capture(self, step: Step | None) -> Capture:
        """What takes readings of this step off a meter."""
        return self._volts if step is not None and step.quantity == "diode" else self._ohms

    def to(self, step: Step) -> list[Event]:
        """The turn that the step wants, if any."""
        function: Literal["resistance", "diode"] = "diode" if step.quantity == "diode" else "resistance"
        turned = not step.typed and function != self._function
        self._function = "" if step.typed else function
        return [TurnTo(function)] if turned else []

    def typed(self, text: str, step: Step | None) -> str:
        """The value in what was typed; amperes beside it are kept. Raises ValueError."""
        if step is None or not step.typed:
            return text
        value, self._amps = placing_value(text, quantity_of(step, self._instrument), self._amps)
        return value

    def amps(self, step: Step) -> float | None:
        """What flows at this step, None where nothing does."""
        return self._amps if step.quantity == "voltage_drop" else None
