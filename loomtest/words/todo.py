"""What to do next: one step, the action first."""

from __future__ import annotations

from functools import singledispatch

from loomtest.diagnosis.markers.doubts import SettleByTouch
from loomtest.diagnosis.verdict import Finding
from loomtest.diagnosis.why import (
    DryAndClean,
    FindBridge,
    FlexBetween,
    LookAtEach,
    MeasureAgain,
    MoveBack,
    ReadBothEnds,
    ReadPieces,
    TellCrossed,
    TellWhich,
    Todo,
    TouchAnew,
    TurnDiode,
    UnclipOneByOne,
    UnplugPart,
    WorkTheSwitch,
)
from loomtest.words.findings import cavities_text
from loomtest.words.lines import all_of
from loomtest.words.marked import next_touch_text
from loomtest.words.place import ask_text, pieces_text
from loomtest.words.places import Places, wire_text


@singledispatch
def todo_text(todo: Todo, finding: Finding, places: Places) -> str:
    """The step in a sentence or two. Raises TypeError for a step without a sentence."""
    raise TypeError(f"no sentence for {type(todo).__name__}")


@todo_text.register
def _(todo: ReadBothEnds, finding: Finding, places: Places) -> str:
    return ask_text(todo, places)


@todo_text.register
def _(todo: ReadPieces, finding: Finding, places: Places) -> str:
    return pieces_text(todo, places)


@todo_text.register
def _(todo: MeasureAgain, finding: Finding, places: Places) -> str:
    check = "the part" if todo.part else "the terminals at both ends and the wire between them"
    return f"Check {check}, fix it, and measure {todo.start} to {todo.end} again."


@todo_text.register
def _(todo: MoveBack, finding: Finding, places: Places) -> str:
    at = cavities_text(list(todo.points), places)
    wires = "wires" if len(finding.suspects) > 1 and finding.suspects[0].probability is None else "wire"
    where = "where they belong" if wires == "wires" else "where it belongs"
    return f"Check {at}, move the {wires} to {where}, and measure these circuits again."


@todo_text.register
def _(todo: TellWhich, finding: Finding, places: Places) -> str:
    return f"Measure {places.point(todo.start)} to {places.point(todo.end)}: it tells which one it is."


@todo_text.register
def _(todo: LookAtEach, finding: Finding, places: Places) -> str:
    return f"Check each of the {todo.count}: no reading at the points you can reach tells them apart."


@todo_text.register
def _(todo: TellCrossed, finding: Finding, places: Places) -> str:
    return (
        f"Measure {places.point(todo.start)} to {places.point(todo.end)}. If they are joined, "
        f"{all_of(todo.wires)} are swapped; if not, both are broken."
    )


@todo_text.register
def _(todo: WorkTheSwitch, finding: Finding, places: Places) -> str:
    what = (
        "Work the switch" if finding.suspects else "Turn every switch off and unplug what is still plugged in"
    )
    return f"{what}, and measure {todo.start} to {todo.end} again. It should read over-range."


@todo_text.register
def _(todo: FindBridge, finding: Finding, places: Places) -> str:
    if finding.suspects:
        parts = all_of([wire_text(places.wire(suspect.wire)) for suspect in finding.suspects])
        return (
            f"Unplug {parts} and measure again. If it stays shorted, look for a stray strand or solder there."
        )
    return "Look there for a stray strand, solder or a chafed wire, fix it, and measure the pair again."


@todo_text.register
def _(todo: UnclipOneByOne, finding: Finding, places: Places) -> str:
    what = "leaks to the probe" if finding.fault == "leakage" else "is the other side of the short"
    return f"Take the clips off one by one until the reading goes. The last one {what}."


@todo_text.register
def _(todo: DryAndClean, finding: Finding, places: Places) -> str:
    return (
        "Measure again with your fingers off the tips. If it stays, dry and clean both connectors, then look "
        "for damaged insulation."
    )


@todo_text.register
def _(todo: UnplugPart, finding: Finding, places: Places) -> str:
    if todo.exchange_leads:
        return "Swap the two leads and measure again: a diode beside the part may conduct."
    return "Unplug the part, measure it on its own, and compare it with the wire list."


@todo_text.register
def _(todo: TurnDiode, finding: Finding, places: Places) -> str:
    return "Measure it the other way round on the diode test, then turn it or replace it."


@todo_text.register
def _(todo: TouchAnew, finding: Finding, places: Places) -> str:
    return f"Lift the probes and measure {todo.start} to {todo.end} again, flexing the loom."


@todo_text.register
def _(todo: FlexBetween, finding: Finding, places: Places) -> str:
    return f"Flex the loom while you measure {todo.start} to {todo.end}, and look for a loose strand."


@todo_text.register
def _(todo: SettleByTouch, finding: Finding, places: Places) -> str:
    return next_touch_text(todo.doubt, finding, places)
