"""Looms for the laws, and verdicts compared up to the last digit and the names."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from loomtest.harness.model import Harness
from loomtest.readings.model import Readings
from tests.looms import measure
from tests.looms.faults import Loom
from tests.looms.scenario import Order, draw

_NUMBER = re.compile(r"(?<![A-Za-z0-9:._])\d+(?:\.\d+)?(?:e[+-]?\d+)?")


class Bench:
    """A loom, what was read on it, and a generator for what the test does to them; shown in one line."""

    def __init__(self, loom: Loom, readings: Readings, rng: np.random.Generator) -> None:
        self.loom, self.readings, self.rng = loom, readings, rng

    def __repr__(self) -> str:
        faults = "; ".join(f"{f.fault} {f.detail} at {f.points}" for f in self.loom.faults)
        return f"<{len(self.loom.harness.wires)} rows, {len(self.readings)} readings: {faults or 'healthy'}>"


@st.composite
def benches(draw_: st.DrawFn, faults: tuple[int, int] = (0, 3), wires: tuple[int, int] = (5, 40)) -> Bench:
    """Random looms with up to three faults, read on all pairs, on a plan's, or on some, by two meters."""
    rng = np.random.default_rng(draw_(st.integers(0, 2**32 - 1), label="seed"))
    count = draw_(st.integers(*faults), label="faults")
    most = draw_(st.integers(*wires), label="wires")
    loom = draw(rng, Order(count, overlap=draw_(st.booleans(), label="overlap"), wires=(wires[0], most)))
    meters: list[measure.Meter] = [measure.FourWire(), measure.Handheld()]
    meter = draw_(st.sampled_from(meters), label="meter")
    pairs = measure.reachable_pairs(loom)
    way = draw_(st.sampled_from(["all", "plan", "some"]), label="pairs")
    if way == "plan":
        pairs = measure.continuity_pairs(loom.harness, rng) + measure.part_pairs(loom.harness)
        pairs += measure.isolation_pairs(loom.harness, "full")
    elif way == "some":
        kept = rng.random(len(pairs)) < rng.uniform(0.2, 0.9)
        pairs = [pair for pair, keep in zip(pairs, kept, strict=True) if keep]
    bonded = measure.bonded_pairs(loom.harness) if way == "some" and rng.random() < 0.5 else []
    return Bench(loom, measure.measure(loom, pairs, rng, meter, bonded, diodes=bool(rng.random() < 0.5)), rng)


def differences(one: Any, other: Any, where: str = "") -> list[str]:
    """Where two JSON values differ by more than rounding; numbers inside texts are compared alike."""
    if isinstance(one, dict) and isinstance(other, dict):
        out = [f"{where}: keys {sorted(set(one) ^ set(other))}"] if set(one) != set(other) else []
        return out + [d for k in one if k in other for d in differences(one[k], other[k], f"{where}.{k}")]
    if isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            return [f"{where}: {len(one)} entries and {len(other)}: {one} {other}"[:400]]
        pairs = enumerate(zip(one, other, strict=True))
        return [d for n, (a, b) in pairs for d in differences(a, b, f"{where}[{n}]")]
    if _number(one) and _number(other):
        return [] if np.isclose(one, other, rtol=1e-3, atol=1e-6) else [f"{where}: {one} and {other}"]
    if isinstance(one, str) and isinstance(other, str):
        return _text_differences(one, other, where)
    return [] if one == other else [f"{where}: {one!r} and {other!r}"]


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _text_differences(one: str, other: str, where: str) -> list[str]:
    numbers = [[float(n) for n in _NUMBER.findall(text)] for text in (one, other)]
    same = _NUMBER.sub("#", one) == _NUMBER.sub("#", other) and len(numbers[0]) == len(numbers[1])
    if same and np.allclose(numbers[0], numbers[1], rtol=0.02, atol=1e-3):
        return []
    return [f"{where}: {one!r} and {other!r}"]


def renamed(value: Any, names: Mapping[str, str]) -> Any:
    """A JSON value with names exchanged wherever they stand as words, keys and texts included."""
    pattern = re.compile(r"(?<![A-Za-z0-9_])(?:" + "|".join(map(re.escape, names)) + r")(?![A-Za-z0-9_])")

    def word(text: str) -> str:
        return pattern.sub(lambda match: names[match.group()], text)

    def walk(item: Any) -> Any:
        if isinstance(item, dict):
            return {word(key): walk(inner) for key, inner in item.items()}
        if isinstance(item, list):
            return [walk(inner) for inner in item]
        return word(item) if isinstance(item, str) else item

    return walk(value)


def rename_wires(harness: Harness, name: Callable[[str], str]) -> Harness:
    """The same harness with other wire names."""
    return _fresh(harness, wires=tuple(replace(w, name=name(w.name)) for w in harness.wires))


def rename_connectors(harness: Harness, names: Mapping[str, str]) -> tuple[Harness, Callable[[str], str]]:
    """The same harness with other connector names, and the function from old points to new."""

    def point(old: str) -> str:
        connector, colon, cavity = old.rpartition(":")
        return f"{names[connector]}:{cavity}" if colon else old

    changed = _fresh(
        harness,
        wires=tuple(replace(w, start=point(w.start), end=point(w.end)) for w in harness.wires),
        points=tuple(map(point, harness.points)),
        worked_on=frozenset(names.get(n, n) for n in harness.worked_on),
        cavities={names[n]: own for n, own in harness.cavities.items()},
        faces={names[n]: face for n, face in harness.faces.items()},
    )
    return changed, point


def _fresh(harness: Harness, **changes: Any) -> Harness:
    return replace(harness, **changes)
