"""The picture of a wiggle test: the value over time, its baseline, and each event by shape and number."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from loomtest.diagnosis.flexing import Flexing
from loomtest.evidence.pictures.look import LIGHT
from loomtest.harness.model import FloatArray
from loomtest.words.flexing import flex_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_POINTS = 4000  # drawn; beyond that each pixel column shows its highest and lowest


def strip_figure(time_s: FloatArray, value_ohm: FloatArray, flexing: Flexing, title: str) -> Figure:
    """A figure of the stream; over-range stands in a band of its own at the top."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 3.6), dpi=120, facecolor=LIGHT["paper"], layout="constrained")
    axes = figure.add_subplot(facecolor=LIGHT["card"])
    finite = value_ohm[np.isfinite(value_ohm)]
    low = float(finite.min()) if len(finite) else 0.0
    high = float(finite.max()) if len(finite) else 1.0
    room = max(high - low, 20.0 * flexing.sigma_ohm, 1e-6)
    top = high + 0.35 * room
    shown = np.where(np.isfinite(value_ohm), value_ohm, top)
    x, y = thinned(time_s, shown)
    axes.plot(x, y, color=LIGHT["ink"], linewidth=0.8, label="value")
    if flexing.samples and np.isfinite(flexing.baseline).all():
        bx, by = thinned(time_s, flexing.baseline)
        axes.plot(bx, by, color=LIGHT["good"], linewidth=1.6, linestyle="--", label="baseline")
    if not np.isfinite(value_ohm).all():
        axes.axhline(top, color=LIGHT["line"], linewidth=6.0, zorder=0)
        axes.text(time_s[0], top, " over-range", va="center", fontsize=8, color=LIGHT["soft"])
    _mark_events(axes, flexing, top, room)
    for shift in flexing.shifts:
        axes.axvline(shift.start_s, color=LIGHT["doubt"], linewidth=1.2, linestyle=":")
        word = f" {shift.kind} {shift.size_ohm:+.3g} Ω"
        axes.text(shift.start_s, low - 0.1 * room, word, fontsize=8, color=LIGHT["doubt"])
    axes.set_ylim(low - 0.2 * room, top + 0.3 * room)
    # Over-range is no number: the axis ends where the values do.
    axes.set_yticks([tick for tick in axes.get_yticks() if low - 0.2 * room <= tick <= high + 0.15 * room])
    axes.set_xlabel("seconds", color=LIGHT["ink"])
    axes.set_ylabel("ohms", color=LIGHT["ink"])
    axes.set_title(f"{title}\n{flex_text(flexing)}", loc="left", fontsize=10, color=LIGHT["ink"])
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, fontsize=8, frameon=False,
        labelcolor=LIGHT["ink"],
    )  # fmt: skip
    axes.tick_params(colors=LIGHT["soft"])
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(LIGHT["soft"])
    return figure


def _mark_events(axes: Any, flexing: Flexing, top: float, room: float) -> None:
    for number, event in enumerate(flexing.events, 1):
        until_s = event.start_s + max(event.length_s, flexing.interval_s)
        axes.axvspan(event.start_s, until_s, color=LIGHT["bad"], alpha=0.2)
        height = top if math.isinf(event.depth_ohm) else flexing.baseline_ohm + event.depth_ohm
        place = (event.start_s, min(top, height) + 0.06 * room)
        axes.plot(*place, marker="v", color=LIGHT["bad"], markersize=6)
        if len(flexing.events) <= 40:
            axes.annotate(str(number), place, (0, 5), textcoords="offset points", ha="center", fontsize=8,
                          color=LIGHT["ink"])  # fmt: skip


def thinned(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """At most `MOST_POINTS` points that still show every peak: the highest and lowest of each piece."""
    if len(x) <= MOST_POINTS:
        return x, y
    pieces = np.array_split(np.arange(len(x)), MOST_POINTS // 2)
    keep = [at for piece in pieces for at in sorted((piece[y[piece].argmin()], piece[y[piece].argmax()]))]
    return x[keep], y[keep]


def write_strip(
    folder: Path, time_s: FloatArray, value_ohm: FloatArray, flexing: Flexing, title: str
) -> list[Path]:
    """`wiggle.png` and `wiggle.svg` in the folder; the same stream gives the same bytes."""
    import matplotlib

    figure = strip_figure(time_s, value_ohm, flexing, title)
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    with matplotlib.rc_context({"svg.hashsalt": "loomtest"}):
        for name in ("wiggle.png", "wiggle.svg"):
            path = folder / name
            quiet = {"Date": None} if name.endswith("svg") else {"Software": None}
            figure.savefig(path, metadata=quiet)
            written.append(path)
    return written
