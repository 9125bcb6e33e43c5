"""Marker plugs: what they may carry, when they go on together, and whole sittings with them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomtest.bench.plan.kit import usable
from loomtest.bench.plan.markers import MarkedPlan, plan_marked
from loomtest.bench.plan.plug import marker_plug, remember
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.markers.kit import choose_kit, too_near
from loomtest.errors import InputError
from loomtest.harness.load import load_harness
from loomtest.harness.model import Harness, Limits, Wire, connector_of
from loomtest.readings.instrument import load_instrument
from loomtest.readings.kitfile import read_kit
from loomtest.readings.marked import Clip
from tests.looms.check import told_wiring, unexplained
from tests.looms.faults import Fault, Loom
from tests.looms.generate import Recipe
from tests.looms.marked import sit
from tests.looms.measure import FourWire, full_scan
from tests.looms.scenario import Order, draw

METER = load_instrument("handheld-3half")
HELD = next(one for one in METER.ranges if one.up_to_ohms == 20_000.0)


def largest(harness: Harness, count: int) -> list[str]:
    at = Counter(connector_of(point) for point in harness.points if connector_of(point))
    return [name for name, _ in sorted(at.items(), key=lambda pair: (-pair[1], pair[0]))[:count]]


def with_plugs(harness: Harness, folder: Path, plugs: int, loose: int) -> list[Clip]:
    """A measured kit: plugs for the largest connectors that have something to test, and loose clips."""
    kit = folder / "kit.csv"
    for connector in largest(harness, plugs):
        try:
            made = marker_plug(harness, connector, kit, METER)
        except InputError:
            continue  # all its circuits have a marker already, or two cavities here
        if made.new:
            remember(made, kit)
    clips = list(read_kit(kit, measured=False).clips) if kit.exists() else []
    beside = choose_kit(METER, max(2, loose))
    assert beside is not None
    return clips + [Clip(marker=f"L{n}", ohms=ohm) for n, ohm in enumerate(beside.ohms[:loose], 1)]


def held_to_the_rules(harness: Harness, made: MarkedPlan) -> None:
    """One marker on a circuit, all told apart, and nothing touched that a plug covers; each from its own
    definition."""
    for number in {one.round for one in made.placings}:
        own = [one for one in made.placings if one.round == number]
        nets = [int(harness.net_of[harness.code_of[one.point]]) for one in own]
        assert len(set(nets)) == len(nets)
        if any(one.clip.plug for one in own):
            assert not too_near([one.clip.ohms for one in own], HELD)
        covered = {one.clip.plug for one in own} - {""}
        touched = {connector_of(step.point) for step in made.steps if step.round == number}
        assert not covered & touched


def test_whole_sittings_with_plugs_tell_the_wiring(tmp_path: Path) -> None:
    """Twenty looms: no fault told that is none, none passed that has one, nearly all told exactly. What a
    plug hides (pairs counted in the plan) is not proven."""
    exact = 0
    for seed in range(20):
        rng = np.random.default_rng([seed, 22])
        kinds = ("open", "short", "crossed", "leakage")
        loom = draw(rng, Order(seed % 3, kinds, wires=(8, 20), recipe=Recipe(parts=False)))
        loom = replace(loom, harness=replace(loom.harness, limits=Limits(isolation="full")))
        (tmp_path / str(seed)).mkdir()
        made = plan_marked(
            loom.harness, with_plugs(loom.harness, tmp_path / str(seed), 1 + seed % 3, 12), held=HELD
        )
        held_to_the_rules(loom.harness, made)
        verdict = judge(loom.harness, sit(loom, made, METER, rng).readings)
        found = [f for f in verdict.findings if f.fault != "high-resistance"]
        assert len(found) <= len([fault for fault in loom.faults if fault.fault != "high-resistance"])
        scan = full_scan(loom, rng, FourWire())
        untold = unexplained(loom.harness, scan, told_wiring(loom.harness, found))
        assert not (untold and verdict.wiring == "pass")
        exact += not untold
    assert exact >= 18


def straight(count: int, faults: tuple[Fault, ...] = ()) -> Loom:
    wires = tuple(Wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, count + 1))
    points = tuple(point for wire in wires for point in (wire.start, wire.end))
    harness = Harness("straight", wires, points, limits=Limits(isolation="full"))
    return Loom(harness, np.full(count, 0.02), faults)


def plugged(harness: Harness, *connectors: str) -> list[Clip]:
    choice = choose_kit(METER, 12)
    assert choice is not None
    points = [point for point in harness.points if connector_of(point) in connectors]
    pairs = zip(points, choice.ohms, strict=False)
    return [Clip(marker=f"M{n}", ohms=ohm, built_in=point) for n, (point, ohm) in enumerate(pairs, 1)]


def test_one_plug_and_a_touch_a_wire() -> None:
    loom = straight(8)
    made = plan_marked(loom.harness, plugged(loom.harness, "X1"), held=HELD)
    assert (made.totals["plugs"], made.totals["placings"], made.totals["marked"]) == (1, 0, 8)
    assert made.hidden_pairs == 0 and not made.unmarked
    loose = [replace(clip, built_in="") for clip in plugged(loom.harness, "X1")]
    assert made.totals["minutes"] < plan_marked(loom.harness, loose, held=HELD).totals["minutes"]
    verdict = judge(loom.harness, sit(loom, made, METER, np.random.default_rng(1)).readings)
    assert verdict.wiring == "pass"


def test_wires_swapped_or_shorted_under_a_plug_are_told_without_pulling_a_clip() -> None:
    rng = np.random.default_rng(2)
    swap = Fault("crossed", "swap", ("X1:2", "X1:5"), moved={(1, 0): "X1:5", (4, 0): "X1:2"})
    short = Fault("short", "0.5 ohm", ("X2:3", "X2:7"), bridge=("X2:3", "X2:7", 0.5))
    for fault in (swap, short):
        loom = straight(8, (fault,))
        made = plan_marked(loom.harness, plugged(loom.harness, "X1"), held=HELD)
        done = sit(loom, made, METER, rng)
        assert done.placings == 8 and done.touches == 8  # the plug's markers once, and a touch a wire
        verdict = judge(loom.harness, done.readings)
        assert [found.fault for found in verdict.findings] == [fault.fault]


def test_a_plug_that_was_not_put_on_is_no_broken_wire() -> None:
    loom = straight(6)
    made = plan_marked(loom.harness, plugged(loom.harness, "X1"), held=HELD)
    rng = np.random.default_rng(3)
    done = sit(replace_all_open(loom), made, METER, rng)
    verdict = judge(loom.harness, done.readings)
    assert not verdict.findings and verdict.wiring == "not-proven"


def replace_all_open(loom: Loom) -> Loom:
    """Every wire cut: what the touches read when the plug lies on the bench."""
    names = [
        Fault("open", "cut", (w.start, w.end), wires=(i,), cut=(i,)) for i, w in enumerate(loom.harness.wires)
    ]
    return replace(loom, faults=tuple(names))


def test_two_plugs_go_on_together_only_where_neither_covers_what_the_other_tests() -> None:
    wires = tuple(Wire(f"W{i}", f"X{1 + i % 2 * 2}:{i}", f"X{2 + i % 2 * 2}:{i}") for i in range(1, 9))
    points = tuple(point for wire in wires for point in (wire.start, wire.end))
    harness = Harness("two branches", wires, points, limits=Limits(isolation="full"))  # X1-X2 and X3-X4
    apart = plan_marked(harness, plugged(harness, "X1", "X3"), held=HELD)
    assert (apart.totals["plugs"], apart.totals["rounds"]) == (2, 1)
    both_ends = plugged(harness, "X1", "X2")
    covered = plan_marked(harness, both_ends, held=HELD)
    assert covered.totals["plugs"] == 1  # the second tests nothing that the first does not
    assert set(covered.unmarked) == {net.name for net in harness.nets if "X3" in net.name}
    same = [
        replace(clip, ohms=both_ends[0].ohms + 500 * (i % 4))
        for i, clip in enumerate(plugged(harness, "X1", "X3"))
    ]
    assert plan_marked(harness, same, held=HELD).totals["rounds"] == 2  # values that cannot be told apart


def test_a_kit_grows_by_a_plug_and_keeps_what_stands_in_it(tmp_path: Path) -> None:
    loom, kit = straight(4), tmp_path / "kit.csv"
    kit.write_text("# shop kit\nmarker;ohms;drawer\nM1;8,25k;left\nM7;9310;right\n", encoding="utf-8")
    made = marker_plug(loom.harness, "X2", kit, METER)
    assert [clip.marker for clip in made.clips] == ["M8", "M9", "M10", "M11"]
    remember(made, kit)
    read = read_kit(kit, measured=False)
    assert [(c.marker, c.ohms, c.built_in) for c in read.clips[:2]] == [("M1", 8250, ""), ("M7", 9310, "")]
    assert [c.built_in for c in read.clips[2:]] == ["X2:1", "X2:2", "X2:3", "X2:4"]
    assert kit.read_text(encoding="utf-8").startswith("# shop kit\n")
    with pytest.raises(InputError, match="measured ohms"):
        read_kit(kit)
    again = marker_plug(loom.harness, "X2", kit, METER)
    assert not again.new and again.clips == made.clips and not again.measured & {"M8"}
    with pytest.raises(InputError, match="no cavity that wants a marker"):
        marker_plug(loom.harness, "X1", kit, METER)  # all its circuits have one in X2
    with pytest.raises(InputError, match="X9"):
        marker_plug(loom.harness, "X9", kit, METER)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("M1,8250,X1:9\nM2,9310,X1:2\n", "M1 at X1:9"),
        ("M1,8250,X1:1\nM2,9310,X1:1\n", "which line 2 has too"),
        ("M1,8250,GND1\nM2,9310,X1:2\n", "a cavity of a connector"),
        ("M1,8250,X1:1\nM2,8280,X1:2\n", "change M2 for another value"),
        ("M1,8250,X3:1\nM2,9310,X3:2\n", "one marker on each circuit"),
        ("M1,8250,X4:1\nM2,9310,X1:2\n", "restraint"),
    ],
)
def test_a_plug_that_does_not_fit_is_refused_with_the_reason(tmp_path: Path, rows: str, said: str) -> None:
    (tmp_path / "wires.csv").write_text(
        "from,to,kind\nX1:1,X2:1,\nX1:2,X2:2,\nX3:1,SP1,\nX3:2,SP1,\nX4:1,X5:1,restraint\n"
    )
    (tmp_path / "kit.csv").write_text("marker,ohms,point\n" + rows)
    harness = load_harness(tmp_path / "wires.csv")
    with pytest.raises(InputError, match=said):
        usable(read_kit(tmp_path / "kit.csv"), METER, harness)
