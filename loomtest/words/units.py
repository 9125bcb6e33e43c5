"""What many units of one loom say: how many are right, what goes wrong, what is usual, the benches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from loomtest.diagnosis.units.benches import BenchShift
from loomtest.diagnosis.units.report import CircuitOverUnits, ManyUnits
from loomtest.diagnosis.units.shares import FaultShare, Share
from loomtest.diagnosis.verdict import Fault
from loomtest.words.labels import FAULT_SIGN, FAULT_WORD
from loomtest.words.lines import Line, all_of, folded, wrapped
from loomtest.words.numbers import counted, ohms, ohms_between, ohms_within, percent
from loomtest.words.places import name_text

MOST_FAULTS = 8
MOST_CIRCUITS = 6
MOST_OUTSIDE = 5


def units_lines(name: str, units: ManyUnits, rehearsed: bool, everything: bool = False) -> list[Line]:
    """The whole answer: yield, faults, circuits, charts, benches. `everything`: no list is cut short."""
    if not units.tries.unit:
        runs = counted(units.tries.nameless, "run")
        text = f"{runs} kept, and none names its unit. Give each loom its number: loomtest log --unit NUMBER."
        return [Line(name, "head"), *wrapped(text, tone="doubt")]
    lines = [Line(name, "head"), *_yield_lines(units)]
    if rehearsed:
        lines += wrapped("All of these are rehearsals: their meter was a simulated one.", tone="doubt")
    lines += _fault_lines(units.faults, everything)
    lines += _circuit_lines(units, everything)
    lines += _outside_lines(units, everything)
    return [*lines, *_bench_lines(units)]


def share_words(share: Share) -> str:
    """`46 of 50, 92 % (81 to 98 %)`."""
    if not share.total:
        return "none yet"
    low, high = f"{share.low * 100:.0f}", f"{share.high * 100:.0f} %"
    between = high if f"{low} %" == high else f"{low} to {high}"
    return f"{share.count:,} of {share.total:,}, {percent(share.value)} ({between})"


def circuit_name(circuit: str, wires: str) -> str:
    """`horn (W1)`; the wire's name where the circuit has none of its own."""
    return wires if circuit in ("", wires) else f"{circuit} ({wires})"


def fault_words(one: FaultShare) -> str:
    """`open: X1 cavity 3 and X2 cavity 3`."""
    word = FAULT_WORD.get(cast(Fault, one.fault), one.fault)
    return f"{word}: {all_of([name_text(point) for point in one.points])}"


def shift_words(shift: BenchShift, units: ManyUnits) -> str:
    """One sentence on what a bench does, and one on where to look."""
    bench = units.benches[shift.bench]
    size = ohms(abs(shift.ohm))
    ends = sorted(abs(end) for end in shift.between)
    about = f"{size} ({ohms_between(*ends)})"
    if shift.circuit is None:
        what, look = "every circuit", "Look at its leads and its meter's zero."
    else:
        one = units.circuits[shift.circuit]
        what = circuit_name(one.circuit, one.wires)
        look = "Look at its sockets and plugs there."
    if shift.kind == "apart":
        way = "more" if shift.ohm > 0 else "less"
        return f"At {bench}, {what} reads {about} {way} than elsewhere. {look}"
    way = "risen" if shift.ohm > 0 else "fallen"
    return f"At {bench}, {what} has {way} by {about} over {counted(shift.units, 'unit')}. {look}"


def _yield_lines(units: ManyUnits) -> list[Line]:
    right = units.right
    lines = [
        Line(f"Right at the first try: {share_words(right.first)}", "good"),
        Line(f"Right at the last try:  {share_words(right.last)}", "good"),
    ]
    said = []
    if right.open_first or right.open_last:
        said.append(
            f"Not proven either way: {right.open_first:,} at the first try, {right.open_last:,} at the last."
        )
    if units.tries.nameless:
        said.append(f"{counted(units.tries.nameless, 'run')} without a unit's number left out.")
    lines += wrapped(*said, tone="doubt", indent=2) if said else []
    if len(units.by_bench) > 1:
        lines += [Line(""), Line("First tries by bench", "head")]
        wide = max(len(bench) for bench, _ in units.by_bench)
        lines += [Line(f"  {bench:<{wide}}  {share_words(share)}") for bench, share in units.by_bench]
    return lines


def _fault_lines(faults: Sequence[FaultShare], everything: bool) -> list[Line]:
    if not faults:
        return [Line(""), Line("No faults found.", "good")]
    shown = faults if everything else faults[:MOST_FAULTS]
    lines = [Line(""), Line("Commonest faults by place: units, and the share of all faults so far", "head")]
    for one in shown:
        sign = FAULT_SIGN.get(cast(Fault, one.fault), "")
        first, *more = folded(fault_words(one), 52)
        lines.append(Line(f"  {sign:<5}{first:<53}{one.units.count:>7,}  {percent(one.so_far):>9}".rstrip()))
        lines += [Line(" " * 7 + rest) for rest in more]
    if len(shown) < len(faults):
        lines.append(Line(f"  … {len(faults) - len(shown):,} more (--all shows them)", "soft"))
    return lines


def _nearest(one: CircuitOverUnits) -> float:
    """How much of the limit the upper end of what is usual takes; circuits without either come last."""
    if one.usual is None or not one.limit_ohm:
        return 0.0
    return one.usual.limits[1] / one.limit_ohm


def _circuit_lines(units: ManyUnits, everything: bool) -> list[Line]:
    told = sorted((one for one in units.circuits if one.usual is not None), key=lambda one: -_nearest(one))
    sound = counted(int(units.ohms.sound.sum()), "sound unit")
    if not told:
        return [Line(""), *wrapped(f"Too few to say what is usual: {sound}.", tone="doubt")]
    shown = told if everything else told[:MOST_CIRCUITS]
    head = f"What is usual of each circuit, from the last try of {sound}, nearest to its limit first"
    said = (
        f"Mean, spread from unit to unit, and where 99 % of units lie, each at {percent(units.confidence)}."
    )
    lines = [Line(""), *wrapped(head, tone="head"), Line(f"  {said}", "soft")]
    for one in shown:
        usual = one.usual
        assert usual is not None
        text = f"{circuit_name(one.circuit, one.wires)}: "
        text += ohms_within(usual.mean, (usual.mean_between[1] - usual.mean_between[0]) / 2)
        text += f", spread {ohms(usual.spread)} ({ohms_between(*usual.spread_between)})"
        text += f"; {percent(usual.share)} within {ohms_between(max(usual.limits[0], 0.0), usual.limits[1])}"
        text += f"; limit {ohms(one.limit_ohm)}" if one.limit_ohm else ""
        over = one.limit_ohm is not None and usual.limits[1] > one.limit_ohm
        first, *rest = folded(text, 72)
        tone = "doubt" if over else "plain"
        lines += [Line(f"  {first}", tone), *(Line(f"      {line}", tone) for line in rest)]
    if len(shown) < len(told):
        lines.append(Line(f"  … {len(told) - len(shown):,} more (--all shows them)", "soft"))
    return lines


def outside_units(one: CircuitOverUnits, units: ManyUnits) -> list[str]:
    """The units whose value of this circuit lies outside the control chart's limits, in their order."""
    if one.chart is None:
        return []
    places = one.places[one.chart.outside].tolist()
    return [units.runs.unit[int(units.ohms.at[place])] for place in places]


def _outside_lines(units: ManyUnits, everything: bool) -> list[Line]:
    charted = [one for one in units.circuits if one.chart is not None]
    if not charted:
        return []
    odd = sorted((one for one in charted if one.outside), key=lambda one: -one.outside)
    if not odd:
        said = f"Control charts: no unit outside the limits, {counted(len(charted), 'circuit')}."
        return [Line(""), Line(said, "good")]
    lines = [Line(""), Line("Outside the control chart's limits", "head")]
    for one in odd if everything else odd[:MOST_CIRCUITS]:
        names = outside_units(one, units)
        more = len(names) - MOST_OUTSIDE
        named = names if everything or more <= 0 else [*names[:MOST_OUTSIDE], f"{more:,} more"]
        assert one.chart is not None
        between = ohms_between(max(one.chart.lower, 0.0), one.chart.upper)
        text = f"{circuit_name(one.circuit, one.wires)}: {all_of(named)}, outside {between}"
        lines += [Line(f"  {line}") for line in folded(text, 76)]
    return lines


def _bench_lines(units: ManyUnits) -> list[Line]:
    if len(units.benches) < 2 and not units.shifts:
        return []
    lines = [Line(""), Line("Benches", "head")]
    if not units.shifts:
        text = "Nothing reads otherwise at one bench than at another."
        return [*lines, *wrapped(text, tone="good", indent=2)]
    for shift in units.shifts:
        lines += wrapped(shift_words(shift, units), tone="doubt", indent=2)
    return lines
