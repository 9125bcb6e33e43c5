"""Numbers as a person reads them: `31 mΩ`, `0.39 Ω`, `12 MΩ`, `more than the meter shows`."""

from __future__ import annotations

import math

_OHM_STEPS = ((1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω"), (1e-3, "mΩ"))


def ohms(value: float | None, figures: int = 2) -> str:
    """A resistance with its unit, rounded to `figures` significant figures.

    None is "not known", +inf "over-range". Below 0.1 mΩ it is "0 mΩ": nothing here resolves less.
    """
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "over-range"
    if abs(value) < 1e-4:
        return "0 mΩ"
    rounded = significant(value, figures)
    scale, unit = next((s, u) for s, u in _OHM_STEPS if abs(rounded) >= s * 0.0999 or s == 1e-3)
    if scale >= 1e3 and abs(rounded) < scale:  # 0.42 Ω reads well, 0.42 kΩ does not
        scale, unit = next((s, u) for s, u in _OHM_STEPS if abs(rounded) >= s)
    return f"{_plain(rounded / scale, figures)} {unit}"


def volts(value: float) -> str:
    """A voltage: `3.1 V`, `85 mV`."""
    if abs(value) < 0.1:
        return f"{_plain(value * 1e3, 2)} mV"
    return f"{_plain(value, 2)} V"


def watts(value: float) -> str:
    """A power: `28 W`, `0.4 W`."""
    return f"{_plain(value, 2)} W"


def percent(value: float) -> str:
    """A share or probability as a percentage; never 100 % or 0 % for what is not certain."""
    if 0.995 < value < 1:
        return "over 99 %"
    if 0 < value < 0.005:
        return "under 1 %"
    return f"{value * 100:.0f} %"


def counted(number: int, one: str, many: str = "") -> str:
    """`1 fault`, `2 faults`, `no faults`."""
    word = one if number == 1 else (many or one + "s")
    return f"{'no' if number == 0 else f'{number:,}'} {word}"


def significant(value: float, figures: int) -> float:
    """`value` rounded to so many significant figures."""
    return float(f"{value:.{figures}g}") if value else 0.0


def _plain(value: float, figures: int) -> str:
    value = significant(value, figures)
    if value == 0:
        return "0"
    places = max(0, figures - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
