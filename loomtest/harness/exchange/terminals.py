"""What wires end at, as points of ours: connectors with cavities, rings, splices, component boxes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from loomtest.harness.exchange.names import LegalNames, legal
from loomtest.harness.exchange.tree import Element

Say = Callable[[Element, str, str], None]


@dataclass(frozen=True, slots=True)
class FileCavity:
    """A cavity: `id` of its occurrence ("" where the housing alone has it), `part` in the housing, number."""

    id: str
    part: str
    number: str
    slot: str = ""


@dataclass
class Terminals:
    """Points by the ids that refer to them.

    `point_of`: of a contact point or a cavity. `station_of`: the connector, ring or box that an occurrence
    is called. `cavities`: of each connector, empty ones too. `unclear`: contact points without a point, and
    why. `owner`: the occurrence that a contact point or cavity belongs to. `bridges`: contact points that
    fill several cavities.
    """

    point_of: dict[str, str] = field(default_factory=dict)
    station_of: dict[str, str] = field(default_factory=dict)
    cavities: dict[str, tuple[str, ...]] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    unclear: dict[str, str] = field(default_factory=dict)
    owner: dict[str, str] = field(default_factory=dict)
    slots: dict[str, tuple[str, ...]] = field(default_factory=dict)  # of a box: a slot's id to its points
    connectors_of: dict[str, list[str]] = field(default_factory=dict)  # occurrence to its connectors' names
    names: LegalNames = field(default_factory=LegalNames)


def read_terminals(harness: Element, by_id: Mapping[str, Element], say: Say) -> Terminals:
    """The connectors and component boxes of a harness; single ones (one cavity or none) are points alone."""
    found = Terminals()
    for occurrence in harness.all("Connector_occurrence"):
        _connector(occurrence, by_id, found, say)
    for occurrence in harness.all("Component_box_occurrence"):
        _box(occurrence, by_id, found, say)
    _places(harness, found)
    return found


def _connector(occurrence: Element, by_id: Mapping[str, Element], found: Terminals, say: Say) -> None:
    name = found.names.give(occurrence.told("Id"), occurrence.id)
    found.station_of[occurrence.id] = name
    part = occurrence.told("Part")
    housing = by_id.get(part)
    if part and housing is None:
        say(occurrence, f"a housing {part} that the file does not have", "its id; cavities are those listed")
    listed = _listed(list(occurrence.all("Slots")), "Cavities", by_id, say)
    drawn = _drawn(list(housing.all("Slots")) if housing is not None else [], "Cavities")
    if len(listed) <= 1 and len(drawn) <= 1:
        for contact in occurrence.all("Contact_points"):
            found.point_of[contact.id] = name
            found.owner[contact.id] = occurrence.id
        for cavity in listed:
            found.point_of[cavity.id] = name
        return
    _cavities(name, listed, drawn, found)
    found.connectors_of[occurrence.id] = [name]
    _contacts(occurrence, list(occurrence.all("Contact_points")), found, say)


def _box(occurrence: Element, by_id: Mapping[str, Element], found: Terminals, say: Say) -> None:
    """A fuse box or relay holder: each of its connectors and slots is a connector `BOX.A`."""
    box = found.names.give(occurrence.told("Id"), occurrence.id)
    found.station_of[occurrence.id] = box
    groups = [
        *((group, "Slots", "Cavities") for group in occurrence.all("Component_box_connectors")),
        *((group, "", "Component_cavities") for group in occurrence.all("Component_slots")),
    ]
    names: list[str] = []
    for group, within, tag in groups:
        label = _label(group, by_id)
        name = box if len(groups) == 1 else found.names.give(f"{box}.{legal(label, group.id)}", group.id)
        if len(groups) > 1 and name == f"{box}.{label}":
            found.names.changed = [pair for pair in found.names.changed if pair[1] != name]
        part = by_id.get(group.told("Part"))
        listed = _listed(list(group.all(within)) if within else [group], tag, by_id, say)
        inside = [] if part is None else list(part.all(within)) if within else [part]
        drawn = _drawn(inside, tag)
        _cavities(name, listed, drawn, found)
        found.slots[group.id] = tuple(found.point_of[c.id] for c in listed if c.id in found.point_of)
        names.append(name)
        for cavity in listed:
            found.owner[cavity.id] = occurrence.id
    found.connectors_of[occurrence.id] = names
    _contacts(occurrence, list(occurrence.within("Contact_points")), found, say)


def _number(cavity: Element, by_id: Mapping[str, Element], say: Say) -> str:
    part = by_id.get(cavity.told("Part"))
    number = part.told("Cavity_number") if part is not None else ""
    if not number:
        say(cavity, "a cavity without a number", "a part with a Cavity_number; what ends there is left out")
    return number


def _label(occurrence: Element, by_id: Mapping[str, Element]) -> str:
    """What a slot or a box's connector is called: its own Id, else that of its part."""
    part = by_id.get(occurrence.told("Part"))
    return occurrence.told("Id") or (part.told("Id") if part is not None else "")


def _listed(holders: list[Element], tag: str, by_id: Mapping[str, Element], say: Say) -> list[FileCavity]:
    return [
        FileCavity(cavity.id, cavity.told("Part"), _number(cavity, by_id, say), _label(holder, by_id))
        for holder in holders
        for cavity in holder.all(tag)
    ]


def _drawn(holders: list[Element], tag: str) -> list[FileCavity]:
    return [
        FileCavity("", cavity.id, cavity.told("Cavity_number"), holder.told("Id"))
        for holder in holders
        for cavity in holder.all(tag)
    ]


def _cavities(name: str, listed: list[FileCavity], drawn: list[FileCavity], found: Terminals) -> None:
    """Points for the cavities; where two slots number theirs alike, the slot's name stands before."""
    of_part = {cavity.part: cavity for cavity in (*listed, *drawn) if cavity.number}  # the housing's word
    twice = {n for n, count in Counter(c.number for c in of_part.values()).items() if count > 1}
    names = LegalNames(cased=True)
    called: dict[str, str] = {}
    for part in dict.fromkeys(cavity.part for cavity in (*drawn, *listed) if cavity.number):
        cavity = of_part[part]
        text = f"{cavity.slot}.{cavity.number}" if cavity.number in twice and cavity.slot else cavity.number
        called[part] = names.give(text, "cavity")
    found.names.changed += [(f"{name}:{was}", f"{name}:{now}") for was, now in names.changed]
    for cavity in listed:
        if cavity.number:
            found.point_of[cavity.id] = f"{name}:{called[cavity.part]}"
    found.cavities[name] = tuple(called.values())


def _contacts(occurrence: Element, contacts: Sequence[Element], found: Terminals, say: Say) -> None:
    for contact in contacts:
        found.owner[contact.id] = occurrence.id
        cavities = contact.refers("Contacted_cavity")
        points = [found.point_of[cavity] for cavity in cavities if cavity in found.point_of]
        if not cavities:
            found.unclear[contact.id] = "lies in no cavity"
        elif len(points) < len(cavities):
            found.unclear[contact.id] = "lies in a cavity that the file does not have"
        else:
            found.point_of[contact.id] = points[0]
            if len(points) > 1:
                filled = ", ".join(points)
                say(contact, f"one terminal in {filled}", f"one cavity; it is called {points[0]}")


def _places(harness: Element, found: Terminals) -> None:
    """The description of a connector says where to find it, where no other has the same."""
    told = {
        occurrence.id: occurrence.told("Description")
        for tag in ("Connector_occurrence", "Component_box_occurrence")
        for occurrence in harness.all(tag)
    }
    counts = Counter(told.values())
    for identity, text in told.items():
        if not text or counts[text] > 1:
            continue
        for name in found.connectors_of.get(identity, [found.station_of[identity]]):
            found.places[name] = text
