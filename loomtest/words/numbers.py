"""Every number that a person reads, in one style: `31 mΩ`, `0.39 Ω`, `12 MΩ`, `over-range`.

Never an exponent, and never more figures than the value is good for. Below 0.1 Ω a resistance stands in
milliohms, from 0.1 Ω up in ohms, from 1,000 Ω in kilohms, and so on: one value is written one way everywhere.
"""

from __future__ import annotations

import math

_OHM_STEPS = ((1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ"), (0.0999, "Ω"))


def ohms(value: float | None, figures: int = 2) -> str:
    """A resistance with its unit, rounded to `figures` significant figures: two for what is worked out.

    None and NaN are "not known", +inf "over-range". Below 0.1 mΩ it is "0 mΩ": nothing here resolves less.
    """
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "over-range"
    if abs(value) < 1e-4:
        return "0 mΩ"
    scale, unit = _unit(value, figures)
    return f"{_plain(value / scale, figures)} {unit}"


def shown_ohms(value: float) -> str:
    """A value as a meter showed it, up to four figures: `45.67 Ω`, `0.3 Ω`, `over-range`."""
    return ohms(value, 4)


def ohms_within(value: float, uncertainty: float | None) -> str:
    """An estimate and its standard uncertainty: `0.23 Ω ± 0.07`, `18.2 mΩ ± 0.6`.

    The uncertainty has one figure and the value ends where it ends. Not known or endless: the value alone.
    """
    if uncertainty is None or not math.isfinite(uncertainty) or not math.isfinite(value):
        return ohms(value)
    if uncertainty < 1e-6:
        return ohms(value, 3)
    scale, unit = _unit(max(abs(value), uncertainty), 2)
    spread = significant(uncertainty / scale, 1)
    places = max(0, -math.floor(math.log10(spread)))
    return f"{_fixed(value / scale, places)} {unit} ± {_fixed(spread, places)}"


def ohms_between(low: float, high: float) -> str:
    """An interval in one unit: `0.37 to 0.45 Ω`; `0.39 Ω` where both ends read alike; `over 2 Ω`.

    The ends have the figures that tell them apart, at least two and at most four.
    """
    if math.isinf(high):
        return "over-range" if math.isinf(low) else f"over {ohms(low)}"
    for figures in (2, 3, 4):
        scale, unit = _unit(high, figures)
        ends = [_plain(value / scale, figures) if value >= 1e-4 else "0" for value in (low, high)]
        apart = ends[0] != ends[1]
        if apart and (figures == 2 or high - low > 0.02 * high):
            return f"{ends[0]} to {ends[1]} {unit}"
        if not apart and high - low <= 0.02 * high:
            break
    return ohms(high)


def volts(value: float) -> str:
    """A voltage: `3.1 V`, `85 mV`."""
    if abs(value) < 0.0995:
        return f"{_plain(value * 1e3, 2)} mV"
    return f"{_plain(value, 2)} V"


def watts(value: float) -> str:
    """A power: `28 W`, `0.4 W`, `85 mW`, `1.2 kW`."""
    if 0 < abs(value) < 0.0995:
        return f"{_plain(value * 1e3, 2)} mW"
    if abs(value) >= 999.5:
        return f"{_plain(value / 1e3, 2)} kW"
    return f"{_plain(value, 2)} W"


def amps(value: float) -> str:
    """A current: `5 A`, `9.7 A`, `20 mA`."""
    if 0 < abs(value) < 0.0995:
        return f"{_plain(value * 1e3, 2)} mA"
    return f"{_plain(value, 3)} A"


def metres(value: float) -> str:
    """A length along the loom: `0.62 m`, `12 m`."""
    return f"{_fixed(value, 2 if abs(value) < 10 else 1)} m"


def percent(value: float) -> str:
    """A share or probability as a percentage; never 100 % or 0 % for what is not certain."""
    if 0.995 < value < 1:
        return "over 99 %"
    if 0 < value < 0.005:
        return "under 1 %"
    return f"{value * 100:.0f} %"


def counted(number: int, one: str, many: str = "") -> str:
    """`1 fault`, `2 faults`, `no faults`, `12,400 wires`; `many` where an s is not enough."""
    word = one if number == 1 else (many or one + "s")
    return f"{'no' if number == 0 else f'{number:,}'} {word}"


def times(number: int) -> str:
    """`once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(number, f"{number:,} times")


def minutes(value: float) -> str:
    """`about 18 minutes`, `under a minute`, `about 2 hours 10 minutes`."""
    whole = round(value)
    if whole < 1:
        return "under a minute"
    hours, rest = divmod(whole, 60)
    parts = [counted(hours, "hour")] if hours else []
    parts += [counted(rest, "minute")] if rest or not hours else []
    return "about " + " ".join(parts)


def seconds(value: float) -> str:
    """`0.3 s`, `12 s`, `2 min 5 s`: how long something took or lasted."""
    if value >= 120:
        whole = round(value)
        return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"
    if 0 < value < 0.0995:
        return f"{_plain(value * 1e3, 2)} ms"
    return f"{_plain(value, 2)} s"


def significant(value: float, figures: int) -> float:
    """`value` rounded to so many significant figures."""
    return float(f"{value:.{figures}g}") if value else 0.0


def _unit(value: float, figures: int) -> tuple[float, str]:
    """The scale and unit of ohms in which a value, once rounded, reads best."""
    size = abs(significant(value, figures))
    for least, unit in _OHM_STEPS:
        if size >= least:
            return (1.0 if unit == "Ω" else least), unit
    return 1e-3, "mΩ"


def _fixed(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def _plain(value: float, figures: int) -> str:
    value = significant(value, figures)
    if value == 0:
        return "0"
    places = max(0, figures - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
