"""The wires of the report: one row each, with a strip that shows the estimate against its limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from loomtest.diagnosis.verdict import Finding, WireRow
from loomtest.evidence.pictures.drawing import Dot, Drawing, Item, Polyline, Shape, to_svg
from loomtest.harness.colours import colour_words
from loomtest.harness.model import Harness, Wire
from loomtest.harness.outward import HARD_SPACE
from loomtest.words.labels import FAULT_WORD, ROW_TONE, ROW_WORD
from loomtest.words.numbers import ohms

STRIP_W, STRIP_H = 184.0, 20.0
_PAD = 9.0


def axis_of(rows: Sequence[WireRow]) -> tuple[float, float]:
    """Decades that hold every estimate, limit and interval; over-range stands at the right end."""
    values = [
        value
        for row in rows
        for value in (row.ohms, row.limit_ohms, *(row.interval_ohms or ()))
        if value is not None and math.isfinite(value) and value > 1e-4
    ]
    low = math.floor(math.log10(min(values, default=1e-3)))
    high = math.ceil(math.log10(max(values, default=1.0)))
    return 10.0**low, 10.0 ** max(high, low + 2)


def wire_rows(
    harness: Harness, rows: Sequence[WireRow], axis: tuple[float, float], findings: Sequence[Finding] = ()
) -> list[dict[str, Any]]:
    """What the page's table of wires shows; `findings` say in a word why a wire is at fault."""
    from markupsafe import Markup

    by_name = {wire.name: wire for wire in harness.wires}
    why = {s.wire: FAULT_WORD[f.fault] for f in reversed(findings) for s in f.suspects}
    return [
        {
            "name": row.wire,
            "start": row.start,
            "end": row.end,
            "what": _what(by_name.get(row.wire)),
            "expected": _cell(row.expected_ohms),
            "expected_sort": _sort(row.expected_ohms),
            "ohms": _measured(row),
            "ohms_sort": _sort(row.ohms),
            "limit": _cell(row.limit_ohms),
            "limit_sort": _sort(row.limit_ohms),
            "strip": Markup(strip(row, axis)),
            "tone": ROW_TONE[row.verdict],
            "word": ROW_WORD[row.verdict],
            "note": _note(row, why.get(row.wire, "")),
        }
        for row in rows
    ]


def strip(row: WireRow, axis: tuple[float, float]) -> str:
    """One wire's estimate, interval and limit as a small SVG; its words stand in the cells beside it."""
    items: list[Item] = [Polyline(((_PAD, 10), (STRIP_W - _PAD, 10)), "line", 1.0)]
    tone = ROW_TONE[row.verdict]
    if row.interval_ohms is not None:
        low, high = (_place(value, axis) for value in row.interval_ohms)
        items.append(Polyline(((low, 10), (max(high, low + 1), 10)), tone, 4.0))
    if row.limit_ohms is not None:
        x = _place(row.limit_ohms, axis)
        items.append(Polyline(((x, 2), (x, 18)), "ink", 2.0))
    if row.ohms is not None:
        items.append(_sign(_place(row.ohms, axis), row, tone))
    drawing = Drawing(STRIP_W, STRIP_H, "", "", items)
    svg = to_svg(drawing, alone=False, ident="strip")
    body = svg[svg.index("</desc>") + len("</desc>") :].strip()
    return f'<svg viewBox="0 0 {STRIP_W:g} {STRIP_H:g}" aria-hidden="true">{body}'


def _sign(x: float, row: WireRow, tone: str) -> Item:
    if row.verdict == "fail":
        return Shape(((x - 5, 5), (x + 5, 5), (x + 5, 15), (x - 5, 15)), tone)
    if row.verdict == "pass":
        return Dot(x, 10, 5, tone)
    return Dot(x, 10, 4.4, "card", tone, 2.2)


def _place(value: float, axis: tuple[float, float]) -> float:
    low, high = math.log10(axis[0]), math.log10(axis[1])
    at = high if math.isinf(value) else math.log10(max(value, axis[0]))
    return _PAD + (STRIP_W - 2 * _PAD) * min((at - low) / (high - low), 1.0)


def _what(wire: Wire | None) -> str:
    if wire is None:
        return ""
    size = f"{wire.size_mm2:.3g}{HARD_SPACE}mm²" if wire.size_mm2 else ""
    length = f"{wire.length_m:.3g}{HARD_SPACE}m" if wire.length_m else ""
    kind = wire.kind if wire.kind != "wire" else ""
    return ", ".join(part for part in (kind, colour_words(wire.colour), size, length, wire.circuit) if part)


def _measured(row: WireRow) -> Any:
    from markupsafe import Markup

    if row.ohms is None or row.uncertainty_ohms is None or math.isinf(row.ohms):
        return _cell(row.ohms)
    return Markup("{} ± {}").format(_cell(row.ohms), quantity(ohms(row.uncertainty_ohms, 1)))


def _cell(value: float | None) -> Any:
    return "–" if value is None else quantity(ohms(value))


def quantity(text: str) -> Any:
    """A number and its unit, the unit in a box of its own so that both align down a column."""
    from markupsafe import Markup

    number, space, unit = text.rpartition(" ")
    return (
        Markup("{}{}<i>{}</i>").format(number, HARD_SPACE, unit) if space and number[-1].isdigit() else text
    )


def _sort(value: float | None) -> str:
    if value is None or math.isnan(value):
        return "-1"
    return "1e99" if math.isinf(value) else f"{value:.6g}"


def _note(row: WireRow, why: str) -> str:
    parts = [why] if why and row.verdict == "fail" else []
    if row.group:
        others = ", ".join(row.group[:6]) + (" …" if len(row.group) > 6 else "")
        parts.append(f"cannot be told from {others}")
    if row.next and row.verdict != "pass":
        parts.append(row.next)
    return "; ".join(parts)
