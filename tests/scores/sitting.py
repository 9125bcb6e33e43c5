"""Score of the guided sitting: a simulated person measures what the session asks for, and no more.

Run: python -m tests.scores.sitting [looms] [seed]; or: python -m tests.scores.sitting table

Random looms of 5 to 40 wires: 30 % without sizes, parts plugged in, empty cavities, 0 to 3 faults (open,
short, crossed, misplaced, a joint of 0.5 to 30 Ω too much, a dead part); leads of 0.1 to 0.4 Ω that nobody
states, touch scatter, a display of 0.1 Ω. "named" counts looms whose verdict names every fault in its place
and no other; faults between circuits that the level does not compare count only where readings show them.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from loomtest.bench.plan.plan import level_costs
from loomtest.bench.plan.route import station_of
from loomtest.diagnosis.judge import judge
from loomtest.diagnosis.seen.isolation import required_pairs
from loomtest.harness.model import Harness, IsolationLevel, connector_of
from loomtest.words.plan import SECONDS_PER_CLIP, SECONDS_PER_PROBING, SECONDS_PER_WALK
from tests.looms.check import score
from tests.looms.faults import Fault, Loom, healthy_loom, random_fault
from tests.looms.generate import Recipe, random_harness
from tests.looms.person import Person, sit
from tests.looms.scenario import all_visible, fits, shown_by

KINDS = ("open", "short", "crossed", "misplaced", "joint", "part")
LEVELS: tuple[IsolationLevel, ...] = ("neighbours", "full")
PLANNED: tuple[IsolationLevel, ...] = ("none", "neighbours", "bonded", "full")


def draw(rng: np.random.Generator) -> Loom:
    """A loom with 0 to 3 faults that a meter can show."""
    while True:
        wires = int(np.exp(rng.uniform(np.log(5), np.log(41))))
        listed = 0.0 if rng.random() < 0.3 else 1.0
        loom = healthy_loom(random_harness(rng, Recipe(wires=wires, listed=listed, loops=False)), rng)
        wanted, faults = int(rng.integers(0, 4)), list[Fault]()
        for _ in range(60):
            if len(faults) == wanted:
                return loom.with_faults(faults)
            fault = random_fault(loom, rng, KINDS[int(rng.integers(len(KINDS)))])
            if fault is None or fault.fault == "wrong-part" or fault.detail.startswith("shorted"):
                continue
            if fault.detail == "empty cavity elsewhere" and not _likely(loom.harness, fault):
                continue
            if fault.fault == "high-resistance":
                wire = fault.wires[0]
                excess = float(np.exp(rng.uniform(np.log(0.5), np.log(30.0))))
                fault = replace(
                    fault,
                    ohms={wire: float(loom.ohms[wire]) + excess},
                    detail=f"{excess:.3g} ohm in {loom.harness.wires[wire].name}",
                )
            if fits(loom.harness, faults, fault, False) and all_visible(loom.with_faults([*faults, fault])):
                faults.append(fault)


def _likely(harness: Harness, fault: Fault) -> bool:
    """A terminal gets into another connector where that one was apart as well."""
    return connector_of(fault.points[1]) in harness.worked_on


def asked_for(harness: Harness, fault: Fault) -> bool:
    """True unless the fault is a short between circuits that the level does not compare."""
    if fault.fault != "short":
        return True
    nets = [np.array([harness.net_of[harness.code_of[p]]]) for p in fault.points[:2]]
    return bool(required_pairs(harness, harness.limits.isolation).contains(*nets)[0])


@dataclass
class Tally:
    """What came of the sittings at one level."""

    looms: int = 0
    named: int = 0
    exact: int = 0
    false_passes: int = 0
    healthy: int = 0
    false_faults: int = 0
    endless: int = 0
    over: list[int] = field(default_factory=list)
    groups: Counter[str] = field(default_factory=Counter)

    def line(self, level: str) -> str:
        """One row of the table."""
        over = sorted(self.over) or [0]
        return (
            f"{level:<12}{self.looms:>7}{self.named:>7}{self.named / max(1, self.looms):>8.1%}"
            f"{self.exact / max(1, self.looms):>8.1%}{self.false_passes:>8}"
            f"{self.false_faults:>5} of {self.healthy:<4}{self.endless:>7}"
            f"{over[len(over) // 2]:>8}{over[-1]:>7}"
        )


def one(loom: Loom, level: IsolationLevel, rng: np.random.Generator, tally: Tally, verbose: str = "") -> None:
    """One sitting, judged and counted."""
    with tempfile.TemporaryDirectory() as place:
        sat = sit(loom, level, Path(place) / "run", Person(loom, rng))
    verdict = judge(sat.harness, sat.readings)
    wanted = [f for f in loom.faults if asked_for(sat.harness, f)]
    shown = shown_by(loom, sat.readings)
    required = [f for f in loom.faults if f in wanted or f in shown]
    told = score(loom, sat.readings, verdict, required)
    tally.looms += 1
    tally.named += told.named
    tally.exact += told.exact
    tally.over.append(sat.over_plan)
    tally.endless += not sat.ended
    if not loom.faults:
        tally.healthy += 1
        tally.false_faults += bool(verdict.findings)
    tally.false_passes += bool(wanted) and verdict.verdict == "pass"
    if not told.named or not sat.ended:
        made = "+".join(sorted(f"{f.fault} {f.detail}" for f in required)) or "healthy"
        found = "+".join(sorted(f.fault for f in verdict.findings)) or "nothing"
        tally.groups[f"made {made}; found {found}"] += 1
        if verbose:
            print(verbose, level, "made", [(f.fault, f.detail, f.points, f.moves) for f in required])
            for finding in verdict.findings:
                print("   found", finding.fault, finding.points, dict(finding.moves), finding.text[:150])
            print("   why", told.reasons, "ended", sat.ended, "over", sat.over_plan)


def in_list_order(harness: Harness, level: IsolationLevel) -> tuple[int, int]:
    """(touches, minutes) of someone who goes down the wire list, and then through the pairs as they come."""
    wires = [(w.start, w.end) for w in harness.wires if not {w.start, w.end} & harness.unreachable]
    first = [next((p for p in net.points if harness.reachable[p]), None) for net in harness.nets]
    pairs = [
        (harness.points[first[a]], harness.points[first[b]])  # type: ignore[index]  # reachable, as required
        for block in required_pairs(harness, level).iterate()
        for a, b in block.tolist()
    ]
    seconds, clip, here = 0.0, "", ""
    for start, end in [*wires, *pairs]:
        seconds += SECONDS_PER_PROBING + SECONDS_PER_CLIP * (start != clip)
        seconds += SECONDS_PER_WALK * (station_of(end) != here)
        clip, here = start, station_of(end)
    return len(wires) + len(pairs), round(seconds / 60)


def table() -> None:
    """Touches and minutes of twelve invented looms at each level, beside the order of the wire list."""
    print(f"{'wires':>6}" + "".join(f"{level:>18}{'list order':>14}" for level in PLANNED))
    for wires in (10, 15, 20, 25, 35, 50, 70, 90, 110, 140, 170, 200):
        harness = random_harness(np.random.default_rng(wires), Recipe(wires=wires, loops=False))
        costs = {cost.isolation: cost for cost in level_costs(harness)}
        row = f"{wires:>6}"
        for level in PLANNED:
            touches, minutes = in_list_order(harness, level)
            cost = costs[level]
            row += f"{cost.touches:>10} {cost.minutes:>3} min{touches:>6} {minutes:>3} min"
        print(row)


def main() -> None:
    if "table" in sys.argv:
        table()
        return
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    tallies = {level: Tally() for level in LEVELS}
    for index in range(count):
        for level in LEVELS[: 1 if "-n" in sys.argv else 2]:
            rng = np.random.default_rng([seed, index])
            one(draw(rng), level, rng, tallies[level], f"loom {index}" if "-v" in sys.argv else "")
    print(
        f"{'level':<12}{'looms':>7}{'named':>7}{'':>8}{'exact':>8}{'passed':>8}{'false':>8}{'endless':>12}"
        f"{'over':>8}{'worst':>7}"
    )
    for level, tally in tallies.items():
        print(tally.line(level))
    for level, tally in tallies.items():
        for group, number in tally.groups.most_common():
            print(f"  {level}: {number} × {group}")


if __name__ == "__main__":
    main()
