# ruff: noqa: E501  (markup is easier to read on one line)
"""Invented harness files: a list of wires written as KBL, by the class descriptions and not by our reader."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

NAMESPACE = "http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema"
GERMAN = {
    "BK": "sw", "BN": "br", "RD": "ro", "OG": "or", "YE": "ge", "GN": "gn", "BU": "bl", "VT": "vi",
    "GY": "gr", "WH": "ws", "PK": "rs",
}  # fmt: skip


@dataclass(frozen=True)
class Made:
    """A wire to be written; `colours` base first; `cable`: the name of the cable whose core it is."""

    name: str
    start: str
    end: str
    size_mm2: float = 1.0
    length_m: float = 1.0
    colours: tuple[str, ...] = ("BK",)
    circuit: str = ""
    cable: str = ""


@dataclass
class Loom:
    """What is written. `boxes`: connectors that belong to a component box, by the box's name: `K1.A` to K1.

    `modules`: names of wires by module; `configurations`: modules by configuration; `fuses`: name to the two
    points of a slot; `segments`: (node, node, metres); `sits`: node to connectors there.
    """

    wires: Sequence[Made]
    version: str = "2.4 SR-1"
    container: str = "Harness"
    boxes: Mapping[str, Sequence[str]] = field(default_factory=dict)
    cavities: Mapping[str, Sequence[str]] = field(default_factory=dict)
    modules: Mapping[str, Sequence[str]] = field(default_factory=dict)
    configurations: Mapping[str, Sequence[str]] = field(default_factory=dict)
    fuses: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    segments: Sequence[tuple[str, str, float]] = ()
    sits: Mapping[str, Sequence[str]] = field(default_factory=dict)
    german: bool = False
    extra: str = ""


def value(tag: str, number: float, unit: str) -> str:
    return (
        f"<{tag}><Unit_component>{unit}</Unit_component><Value_component>{number!r}</Value_component></{tag}>"
    )


def colour(tag: str, colours: Sequence[str], german: bool) -> str:
    out = []
    for place, code in enumerate(colours):
        kind = ("Grundfarbe", "Kennfarbe")[min(place, 1)] if german else ("Base colour", "Tracer")[place > 0]
        text = GERMAN[code] if german else code
        out.append(f"<{tag}><Colour_type>{kind}</Colour_type><Colour_value>{text}</Colour_value></{tag}>")
    return "".join(reversed(out))  # the tracer stands first: the order in the file says nothing


def written(loom: Loom) -> str:
    """The whole file."""
    stations: dict[str, dict[str, None]] = {}
    for made in loom.wires:
        for point in (made.start, made.end):
            connector, _, cavity = point.rpartition(":")
            stations.setdefault(connector or point, {}).setdefault(cavity if connector else "", None)
    for connector, cavities in loom.cavities.items():
        stations.setdefault(connector, {}).update(dict.fromkeys(cavities))
    boxed = {connector: box for box, connectors in loom.boxes.items() for connector in connectors}
    head, body = [], []
    for n, (name, cavities) in enumerate(stations.items()):
        single = "" in cavities
        numbers = ["1"] if single else list(cavities)
        if name not in boxed:
            drawn = "".join(
                f'<Cavities id="hc{n}_{i}"><Cavity_number>{escape(c)}</Cavity_number></Cavities>'
                for i, c in enumerate(numbers)
            )
            slots = f'<Slots id="hs{n}"><Id>S</Id>{drawn}</Slots>' if not (single and n % 2) else ""
            head.append(
                f'<Connector_housing id="h{n}"><Part_number>P{n}</Part_number>{slots}</Connector_housing>'
            )
            own = "".join(
                f'<Cavities id="c{n}_{i}"><Part>hc{n}_{i}</Part></Cavities>' for i in range(len(numbers))
            )
            slots = f'<Slots id="s{n}"><Part>hs{n}</Part>{own}</Slots>' if not (single and n % 2) else ""
            body.append(
                f'<Connector_occurrence id="x{n}"><Id>{escape(name)}</Id><Description>/NULL</Description>'
                f"<Part>h{n}</Part>{contacts(n, numbers, bool(slots))}{slots}</Connector_occurrence>"
            )
    order = {name: n for n, name in enumerate(stations)}
    for b, (box, connectors) in enumerate(loom.boxes.items()):
        parts, own = [], []
        for name in connectors:
            n, label = order[name], name.rpartition(".")[2]
            drawn = "".join(
                f'<Cavities id="hc{n}_{i}"><Cavity_number>{c}</Cavity_number></Cavities>'
                for i, c in enumerate(stations[name])
            )
            mine = "".join(
                f'<Cavities id="c{n}_{i}"><Part>hc{n}_{i}</Part></Cavities>'
                for i in range(len(stations[name]))
            )
            parts.append(
                f'<Component_box_connectors id="h{n}"><Id>{label}</Id><Slots id="hs{n}">{drawn}</Slots>'
                "</Component_box_connectors>"
            )
            own.append(
                f'<Component_box_connectors id="x{n}"><Part>h{n}</Part><Slots id="s{n}"><Part>hs{n}</Part>{mine}'
                f"</Slots>{contacts(n, list(stations[name]), True)}</Component_box_connectors>"
            )
        head.append(
            f'<Component_box id="b{b}"><Part_number>B{b}</Part_number>{"".join(parts)}</Component_box>'
        )
        body.append(
            f'<Component_box_occurrence id="bo{b}"><Id>{box}</Id><Part>b{b}</Part>{"".join(own)}'
            "</Component_box_occurrence>"
        )
    cavity_id = {
        (f"{name}:{c}" if c else name): f"{order[name]}_{i}"
        for name, cavities in stations.items()
        for i, c in enumerate(cavities)
    }
    for name, ends in loom.fuses.items():
        held = " ".join(f"c{cavity_id[end]}" for end in ends)
        body.append(
            f'<Fuse_occurrence id="fuse_{name}"><Id>{name}</Id><Part>none</Part>'
            f"<Component_cavities>{held}</Component_cavities></Fuse_occurrence>"
        )
    connections, conductors = conducting(loom, cavity_id, head)
    nodes = lying(loom, order, head)
    modules = "".join(
        f'<Module id="m_{name}"><Part_number>{name}</Part_number><Module_configuration id="mc_{name}">'
        f"<Controlled_components>{' '.join(f'w_{wire}' for wire in wires)}</Controlled_components>"
        "</Module_configuration></Module>"
        for name, wires in loom.modules.items()
    )
    configurations = "".join(
        f'<Harness_configuration id="hcfg_{i}"><Part_number>{name}</Part_number>'
        f"<Modules>{' '.join(f'm_{module}' for module in held)}</Modules></Harness_configuration>"
        for i, (name, held) in enumerate(loom.configurations.items())
    )
    tag = loom.container
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<kbl:KBL_container xmlns:kbl="{NAMESPACE}" '
        'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="root" '
        f'version_id="{loom.version}">\n' + "\n".join(head) + units() + "\n".join(nodes) + f"\n<{tag} id="
        f'"harness"><Part_number>H1</Part_number><Description>Invented loom</Description>\n'
        + "\n".join([*body, *connections, *conductors])
        + f"\n{configurations}\n{modules}\n{loom.extra}</{tag}>\n</kbl:KBL_container>\n"
    )


def contacts(n: int, numbers: Sequence[str], cavities: bool) -> str:
    return "".join(
        f'<Contact_points id="p{n}_{i}"><Id>{i + 1}</Id>'
        + (f"<Contacted_cavity>c{n}_{i}</Contacted_cavity>" if cavities else "")
        + "</Contact_points>"
        for i in range(len(numbers))
    )


def units() -> str:
    return (
        '<Unit id="u_mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>'
        '<Unit id="u_m"><Si_unit_name>metre</Si_unit_name></Unit>'
        '<Unit id="u_mm2"><Si_unit_name>square metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>'
        '<Unit id="u_g"><Si_unit_name>gram</Si_unit_name></Unit>\n'
    )


def conducting(loom: Loom, cavity_id: Mapping[str, str], head: list[str]) -> tuple[list[str], list[str]]:
    connections, conductors = [], []
    cables: dict[str, list[str]] = {}
    for i, made in enumerate(loom.wires):
        area = value("Cross_section_area", made.size_mm2, "u_mm2")
        lengths = (
            f'<Length_information id="l{i}a"><Length_type>DMU</Length_type>'
            + value("Length_value", made.length_m * 900, "u_mm")
            + f'</Length_information><Length_information id="l{i}b"><Length_type>Production</Length_type>'
            + value(
                "Length_value", made.length_m * 1000 if i % 2 else made.length_m, "u_mm" if i % 2 else "u_m"
            )
            + "</Length_information>"
        )
        number = f"<Wire_number>{escape(made.name)}</Wire_number>"
        if made.cable:
            head.append(
                f'<General_wire id="g{i}"><Core id="k{i}"><Id>1</Id>{area}'
                + colour("Core_colour", made.colours, loom.german)
                + "</Core></General_wire>"
            )
            cables.setdefault(made.cable, []).append(
                f'<Core_occurrence id="w_{made.name}"><Part>k{i}</Part>{lengths}{number}</Core_occurrence>'
            )
        else:
            head.append(
                f'<General_wire id="g{i}">{area}{colour("Cover_colour", made.colours, loom.german)}</General_wire>'
            )
            conductors.append(
                f'<General_wire_occurrence xsi:type="kbl:Wire_occurrence" id="w_{made.name}"><Part>g{i}</Part>'
                f"{lengths}{number}</General_wire_occurrence>"
            )
        ends = [(0, made.start), (1, made.end)]
        extremities = "".join(
            f'<Extremities id="e{i}_{at}"><Position_on_wire>{at}.0</Position_on_wire>'
            f"<Contact_point>p{cavity_id[point]}</Contact_point></Extremities>"
            for at, point in (ends if i % 3 else reversed(ends))
        )
        signal = escape(made.circuit) or "/NULL"
        connections.append(
            f'<Connection id="con{i}"><Id>C{i}</Id><Signal_name>{signal}</Signal_name><Wire>w_{made.name}</Wire>'
            f"{extremities}</Connection>"
        )
    for cable, cores in cables.items():
        conductors.append(
            f'<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="cable_{cable}"><Part>g0</Part>'
            f"<Special_wire_id>{cable}</Special_wire_id>{''.join(cores)}</General_wire_occurrence>"
        )
    return connections, conductors


def lying(loom: Loom, order: Mapping[str, int], head: list[str]) -> list[str]:
    names = dict.fromkeys(node for segment in loom.segments for node in segment[:2])
    out = []
    for i, node in enumerate(names):
        head.append(
            f'<Cartesian_point id="at{i}"><Coordinates>{i * 100}.0</Coordinates>'
            "<Coordinates>0.0</Coordinates><Coordinates>0.0</Coordinates></Cartesian_point>"
        )
        held = " ".join(f"x{order[name]}" for name in loom.sits.get(node, ()))
        out.append(
            f'<Node id="n_{node}"><Id>{node}</Id><Cartesian_point>at{i}</Cartesian_point>'
            + (f"<Referenced_components>{held}</Referenced_components>" if held else "")
            + "</Node>"
        )
    for i, (a, b, metres) in enumerate(loom.segments):
        out.append(
            f'<Segment id="seg{i}"><Id>S{i}</Id>{value("Virtual_length", metres * 1000, "u_mm")}'
            f"<End_node>n_{b}</End_node><Start_node>n_{a}</Start_node></Segment>"
        )
    return out


def random_loom(count: int, seed: int) -> Loom:
    """An invented loom of so many wires: connectors, rings, splices, double crimps, boxes, cores, modules."""
    rng = random.Random(seed)
    connectors = {f"X{i}": [str(c) for c in range(1, rng.randint(3, 24))] for i in range(1, count // 8 + 3)}
    boxes = {f"K{i}": [f"K{i}.A", f"K{i}.B"] for i in range(1, 2 + count // 200)}
    held = {name: [f"{c}" for c in range(1, 9)] for names in boxes.values() for name in names}
    points = [f"{name}:{c}" for name, cavities in {**connectors, **held}.items() for c in cavities]
    points += [f"SP{i}" for i in range(1, count // 10 + 2)] + [f"GND{i}" for i in range(1, count // 25 + 2)]
    wires = []
    for i in range(count):
        start, end = rng.sample(points, 2)
        wires.append(
            Made(
                name=f"{1000 + i}",
                start=start,
                end=end,
                size_mm2=rng.choice([0.35, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0]),
                length_m=round(rng.uniform(0.1, 6.0), 3),
                colours=tuple(rng.sample(list(GERMAN), rng.choice([1, 1, 2]))),
                circuit=rng.choice(["", f"signal {i % 7}", "Ground & <return>"]),
                cable=rng.choice(["", "", "", f"cable{i // 4}"]),
            )
        )
    used = {
        connector
        for made in wires
        for point in (made.start, made.end)
        for connector in [point.rpartition(":")[0]]
    }
    boxes = {box: [name for name in names if name in used] for box, names in boxes.items()}
    boxes = {box: names for box, names in boxes.items() if len(names) == 2}
    names = [made.name for made in wires]
    modules = {"M1": names[: count // 2], "M2": names[count // 2 : count - 1]}
    cavities = {name: drawn for name, drawn in connectors.items() if name in used}
    nodes = [f"N{i}" for i in range(count // 4 + 2)]
    segments = [
        (nodes[rng.randrange(i)], nodes[i], round(rng.uniform(0.05, 0.9), 3)) for i in range(1, len(nodes))
    ]
    stations = list(dict.fromkeys((p.rpartition(":")[0] or p) for m in wires for p in (m.start, m.end)))
    sits: dict[str, list[str]] = {}
    for station in stations:
        if not any(station in names for names in boxes.values()):
            sits.setdefault(rng.choice(nodes), []).append(station)
    return Loom(
        wires=wires,
        version=rng.choice(["2.3 SR-1", "2.4 SR-1", "2.5"]),
        container=rng.choice(["Harness", "Harness_container"]),
        boxes=boxes,
        cavities=cavities,
        modules=modules,
        configurations={"long": ["M1", "M2"], "short": ["M1"]},
        segments=segments,
        sits=sits,
        german=bool(rng.getrandbits(1)),
    )
