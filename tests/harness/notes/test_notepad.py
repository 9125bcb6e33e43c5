"""The notepad reader: many ways to write one wire, and what it must not guess."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomtest.harness.colours import IEC_60757, colour_code
from loomtest.harness.notes.notation import NotedWire
from loomtest.harness.notes.reader import read_notes
from loomtest.words.notes import look_at, said, why

# Ways people write a wire down are nobody's standard: common practice.
ARROWS = (
    " to ",
    " -> ",
    "->",
    " --> ",
    " → ",
    " => ",
    " > ",
    " – ",
    " — ",
    " - ",
    " = ",
    " ... ",
    " goes to ",
    " ⟶ ",
    "~>",
)
POINTS = (
    "{c}:{n}", "{c} {n}", "{c}-{n}", "{c}.{n}", "{c}/{n}", "{c} pin {n}", "{c} cavity {n}",
    "pin {n} of {c}", "-{c}:{n}", "{c}({n})", "{c} #{n}",
)  # fmt: skip
SIZES = {
    "1.5": ("1.5mm2", "1.5 mm²", "1.5 sq", "1,5 mm2", "1.5sqmm"),
    "AWG 16": ("AWG 16", "16awg", "16 ga", "AWG16", "#16 AWG"),
}  # fmt: skip
LENGTHS = {
    "0.85 m": ("0.85m", "0.85 m", "0,85 m"), "850 mm": ("850mm", "850 mm"),
    "33 in": ('33"', "33 in"), "2 ft 6 in": ("2'6\"", "2 ft 6 in"),
}  # fmt: skip

connectors = st.sampled_from(("X1", "X4", "C12", "J3", "plug_a", "Helm1"))
cavities = st.integers(1, 99).map(str)
single = st.sampled_from(("GND1", "SP2", "BATT+", "ground", "NEG"))
codes = st.lists(st.sampled_from(tuple(IEC_60757)), min_size=1, max_size=2, unique=True)


@st.composite
def colours(draw: st.DrawFn) -> tuple[str, str]:
    """A colour as written, and its code."""
    parts = draw(codes)
    words = [IEC_60757[part] for part in parts]
    ways = ["".join(parts), "/".join(parts), "-".join(words), "/".join(words)]
    if len(parts) == 2:
        ways += [f"{words[0]} with {words[1]} stripe", f"{words[0]} and {words[1]}", f"{words[0]} {words[1]}"]
    return draw(st.sampled_from(ways)), "".join(parts)


@st.composite
def written_wires(draw: st.DrawFn) -> tuple[str, tuple[str, ...]]:
    """A line in some notation, and start, end, colour code, size, length that it says."""
    ends = [draw(connectors), draw(connectors.filter(lambda name: name != "X1"))]
    numbers = [draw(cavities), draw(cavities)]
    said = [f"{name}:{number}" for name, number in zip(ends, numbers, strict=True)]
    if said[0] == said[1]:
        ends[0], said[0] = "X1", f"X1:{numbers[0]}"
    texts = [
        draw(st.sampled_from(POINTS)).format(c=name, n=number)
        for name, number in zip(ends, numbers, strict=True)
    ]
    if draw(st.booleans()):
        said[1] = texts[1] = draw(single)
    colour, code = draw(st.one_of(st.just(("", "")), colours()))
    size, size_text = "", ""
    if draw(st.booleans()):
        size = draw(st.sampled_from(tuple(SIZES)))
        size_text = draw(st.sampled_from(SIZES[size]))
    length, length_text = "", ""
    if draw(st.booleans()):
        length = draw(st.sampled_from(tuple(LENGTHS)))
        length_text = draw(st.sampled_from(LENGTHS[length]))
    about = draw(st.permutations([colour, size_text, length_text]))
    way = draw(st.sampled_from(("before", "after", "commas", "tabs", "semicolons")))
    arrow = draw(st.sampled_from(ARROWS))
    extra = " ".join(filter(None, about))
    if way == "before":
        line = f"{texts[0]} {extra}{arrow}{texts[1]}"
    elif way == "after":
        line = f"{texts[0]}{arrow}{texts[1]} {extra}"
    else:
        mark = {"commas": ", ", "tabs": "\t", "semicolons": "; "}[way]
        line = mark.join(filter(None, (texts[0], texts[1], *about)))
    bullet = draw(st.sampled_from(("", "- ", "* ", "3) ", "12. ", "• ")))
    return bullet + line.strip(), (said[0], said[1], code, size, length)


def meaning(wire: NotedWire) -> tuple[str, ...]:
    return wire.start, wire.end, colour_code(wire.colour), wire.size, wire.length


@given(written_wires())
def test_a_wire_written_in_any_notation_reads_back_the_same(written: tuple[str, tuple[str, ...]]) -> None:
    line, said = written
    notepad = read_notes(line)
    assert [meaning(wire) for wire in notepad.wires] == [said], (line, notepad.lines)
    again = read_notes(notepad.wires[0].words)  # our own words are a notation too
    assert again.wires == notepad.wires


@given(st.lists(st.tuples(cavities, colours(), cavities), min_size=2, max_size=5), st.sampled_from('"〃”'))
def test_ditto_marks_stand_for_the_words_above(
    rows: list[tuple[str, tuple[str, str], str]], mark: str
) -> None:
    first = rows[0]
    lines = [f"X1 {first[0]} {first[1][1]} 1.5 mm² to X4 {first[2]}"]
    expected = [(f"X1:{first[0]}", f"X4:{first[2]}", first[1][1], "1.5", "")]
    for start, (_, code), end in rows[1:]:
        lines.append(f"{mark} {start} {code} {mark} {mark} {mark} {end}")
        expected.append((f"X1:{start}", f"X4:{end}", code, "1.5", ""))
    notepad = read_notes("\n".join(lines))
    assert [meaning(wire) for wire in notepad.wires] == list(dict.fromkeys(expected)), notepad.lines


@given(st.text(alphabet=st.sampled_from("X1:234 \"-><→,;\tredbluGNDto/()#.mm²'~+=AW"), max_size=60))
def test_any_text_is_read_or_told_and_never_lost(text: str) -> None:
    notepad = read_notes(text)
    numbers = [line.number for line in notepad.lines]
    assert numbers == sorted(set(numbers))
    assert len(numbers) == sum(bool(line.strip()) for line in text.split("\n"))
    for line in notepad.lines:
        assert bool(said(line)) != bool(why(line)), line
    assert {wire.line for wire in notepad.wires} <= {line.number for line in notepad.lines if said(line)}


def only(text: str) -> str:
    """What the last line was read as, or why not."""
    line = read_notes(text).lines[-1]
    return said(line) or f"not read: {why(line)}"


def test_marks_under_their_columns_where_words_were_left_out() -> None:
    notes = (
        "X4 12 light green  0.9 m ... X1 30\n"
        "\"    13   \"     \"    \"       \"  31\n"
        "\"    14 red                  \"  32\n"
    )  # fmt: skip
    assert [said(line) or why(line) for line in read_notes(notes).lines] == [
        "X4:12 light green, 0.9 m to X1:30",
        "X4:13 light green, 0.9 m to X1:31",
        "X4:14 red to X1:32",
    ]


def test_headings_give_the_connectors() -> None:
    notes = "X1 to X4:\n1 red to 3\n"
    notes += '2 " to 4\n3 - 5 blue\n4. green to 6\n5 black to GND1\n== X7 ==\n1 pink to X2 9\n'
    assert [said(line) for line in read_notes(notes).lines] == [
        "a heading: X1 to X4", "X1:1 red to X4:3", "X1:2 red to X4:4", "X1:3 blue to X4:5",
        "X1:4 green to X4:6",
        "X1:5 black to GND1", "a heading: X7", "X7:1 pink to X2:9",
    ]  # fmt: skip


def test_splices_and_grounds_join_several() -> None:
    assert only("SP1: X1 3 red, X4 2 and X5 7 1.5 mm²") == "SP1 red to X1:3; SP1 to X4:2; SP1 1.5 mm² to X5:7"
    assert only("splice SP2 = X1:3 + X4:2") == "splice_SP2 to X1:3; splice_SP2 to X4:2"
    assert only("GND 1: X1 4, X2 4") == "GND1 to X1:4; GND1 to X2:4"
    assert only("Splice A: port lamp +, stern lamp +  (all grey, 1.0)") == (
        "splice_A grey, 1.0 mm² to port_lamp:+; splice_A grey, 1.0 mm² to stern_lamp:+"
    ).replace("splice_A", "Splice_A")


def test_names_circuits_parts_and_notes() -> None:
    assert only("W12: X1 10 RD to X4 10 (new crimp)") == "W12: X1:10 red to X4:10  # new crimp"
    assert only("W3 X1 1 to X4 3") == "W3: X1:1 to X4:3"
    assert only("horn relay: X1 9 brown to X4 9") == "X1:9 brown to X4:9, for horn relay"
    assert only("X1 9 5A to X4 9 for the bilge pump") == "X1:9 5 A to X4:9, for bilge pump"
    assert only("diode X1 20 to X1 21") == "X1:20 diode to X1:21"
    assert only("X1 23 <- X4 22") == "X4:22 to X1:23"
    assert only("gnd 2 to X1 3") == "gnd2 to X1:3"
    assert only("X1:1 - red - X4:3") == only("X1 pin 1 (red) -> pin 3 X4") == "X1:1 red to X4:3"
    assert only("battery + to X1 1") == "battery+ to X1:1"
    assert only("horn red 5 A to X1 3") == "horn red, 5 A to X1:3"
    assert only("X1-X4:\n5 - unused") == "X1:5 stays empty: no wire"
    assert only("X1-X4:\n5 red 6") == "X1:5 red to X4:6"
    assert only("light switch 2 - fuse box 3, 14/0.30") == "light_switch:2 0.99 mm² to fuse_box:3"
    assert only("A to B thru the 15a fuse") != ""
    assert (
        only("battery + -> 15A fuse -> main switch 1 red")
        == "battery+ red, fuse to main_switch:1  # fuse 15 A"
    )


# What was once read wrongly in silence; each names its place among the five mistakes that count most.
@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("fan - > X1 3", "fan:- to X1:3"),
        ("coil CB to points", "coil:CB to points"),
        ("old 1 → new 4", "a change of connector, and no wire: old:1 to new:4"),
        ("motor pink - X2 5", "motor pink to X2:5"),
        ("cable is 20 ft to the hitch", "a remark, kept in notes.txt: no wire"),
    ],
)
def test_what_was_read_wrongly_in_silence(text: str, meant: str) -> None:
    assert only(text) == meant


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("X1-A1 red to X4-B2", "X1-A1"),
        ("X1 3 n/c X4 1", "more than one way"),
        ("X1:1 to X1:1", "both ends are X1:1"),
        ("x1:1 to X1:1", "both ends"),
        ("X1:1 red", "only one end"),
        ('" 2 red to " 4', "ditto mark"),
        ("X1:1 red blue, green to X4:3", "more colours than wires"),
        ("X1:3 to X4:1\nX1 red to X4 15", "X1 stands here without a cavity"),
        ("W9: X1:5 to X4:5\nW9: X1:6 to X4:6", "W9"),
        ('X1 3 red 1.5 mm² to X4 1\n" 4 blue " " 2', "more than one way"),
        ("X1 3 red to X4 1?", "not sure"),
        ("X1 3 red to X4 1 or X4 2", "not sure"),
        ("I think X1 3 goes to X4 1", "not sure"),
        ("key switch S to plug 1 via neutral switch", "more than one way"),
        ("X1 3 -> both headlamps, red", "headlamps"),
        ("X1 1, X1 2 to X4 1, X4 2, X4 3", "several points on both sides"),
        ("F4 horn 10", "only one end"),
    ],
)  # fmt: skip
def test_what_has_two_meanings_is_told_and_not_guessed(text: str, reason: str) -> None:
    notepad = read_notes(text)
    assert notepad.unread and reason in why(notepad.unread[-1]), notepad.lines
    assert notepad.unread[-1].number == text.count("\n") + 1
    assert all(wire.line != notepad.unread[-1].number for wire in notepad.wires)


def test_an_answer_is_used_and_asks_no_more() -> None:
    text = "X1 3 red to X4 1?\nX1 4 to X4 2?"
    found = read_notes(text)
    assert [line.readings for line in found.unread] == [("X1:3 red to X4:1",), ("X1:4 to X4:2",)]
    again = read_notes(text, {"X1 3 red to X4 1?": "X1:3 blue to X4:7", "X1 4 to X4 2?": ""})
    assert again.unread == () and [wire.words for wire in again.wires] == ["X1:3 blue to X4:7"]


def test_one_spelling_and_what_to_look_at() -> None:
    notepad = read_notes("X1 1 to ground\nx1 2 to ground\nX4 1 to X1 1\nX1 1 to X4 1")
    assert notepad.wires[1].start == "X1:2"
    assert len(notepad.wires) == 3  # the last line says the third again, from its other end
    assert [look_at(look) for look in notepad.look_at] == [
        "line 4: X1:1 and X4:1 are joined by line 3 too",
        "2 wires end at ground, which is one point then: number them (ground1, ground2) if there are several",
    ]
    assert look_at(read_notes("X1 5 red 6 mm to X4 5").look_at[0]).startswith("line 1: 6 mm is taken for")
    assert look_at(read_notes("X1 11 B to X4 11").look_at[0]).startswith("line 1: the colour B")


def test_comments_rules_and_long_lines() -> None:
    assert [said(line) for line in read_notes("\ufeff# mine\r\n\r\n-----\n// too\n").lines] == [
        "a comment", "a line drawn", "a comment",
    ]  # fmt: skip
    assert "400 letters" in why(read_notes("X1:1 " * 200).unread[0])


def test_a_bus_bar_is_joined_to_each_line_of_the_list_below_it() -> None:
    notes = "Negative bus bar\n - inverter -\n - bilge pump -ve   black 2.5\n\nhorn - to main neg bar\n"
    assert [wire.words for wire in read_notes(notes).wires] == [
        "Negative_bus_bar to inverter:-",
        "Negative_bus_bar black, 2.5 mm² to bilge_pump:-",
        "horn:- to Negative_bus_bar",
    ]


def test_cavities_in_one_line_and_lists_of_statements() -> None:
    assert only("tail plug: pin 1 red to LH lamp, pin 3 chassis, pin 4 empty") == (
        "tail_plug:1 red to LH_lamp; tail_plug:3 to chassis"
    )
    assert only("LH lamp E to frame, RH lamp E to frame, black") == (
        "LH_lamp:E to frame; RH_lamp:E black to frame"
    )
    assert only("S4 pin D unused") == "S4:D stays empty: no wire"
    assert only("coil - - X1 3") == "coil:- to X1:3"
    assert only("switch 1 to lamp + with 30A fuse, red") == "switch:1 red, fuse to lamp:+  # fuse 30 A"


def test_colours_in_letters_are_left_out_and_never_taken_for_a_cavity() -> None:
    notes = read_notes("C3  CDI unit, 6 way\n1  B/W   C4-6\n4  B     earth ring\n")
    assert [wire.words for wire in notes.wires] == [
        "C3:1 to C4:6  # colour B/W",
        "C3:4 to earth_ring  # colour B",
    ]


# Each of these was once a wire that the page does not have.
@pytest.mark.parametrize(
    "text",
    [
        "switch 1 -> bulb -> X1 3",
        "washer pump: bl from washer switch, br to stud",
        "dimmer hi/lo -> X1 3, X1 4",
        "Insulation ok > 20 Mohm all",
        "RP7 -> RP16: spare, capped off",
        "harness from connector X4 1",
        "bleeper + : from switch 1   - : chassis",
        "X1 3 to lamp + via rheostat",
    ],
)
def test_what_only_looks_like_a_wire_makes_none(text: str) -> None:
    assert read_notes(text).wires == ()


def test_a_doubt_shows_every_way_it_can_be_meant() -> None:
    def ways(text: str) -> tuple[str, ...]:
        return read_notes(text).unread[-1].readings

    assert ways("X1 3 red to X4 1 or X4 2") == ("X1:3 red to X4:1", "X1:3 red to X4:2")
    assert ways("X1 3 blue or green to X4 1") == ("X1:3 blue to X4:1", "X1:3 green to X4:1")
    assert ways("switch 1 -> bulb -> X1 3") == (
        "switch:1 to bulb:1; bulb:2 to X1:3",
        "switch:1 to bulb; bulb to X1:3",
        "switch:1 to bulb; switch:1 to X1:3",
    )


def test_a_size_said_of_the_whole_page_is_that_of_the_wires_without_one() -> None:
    notes = read_notes("Orchard tractor, all AWG 16 unless noted\n\nX1 1 red to X4 1\nX1 2 12 ga to X4 2\n")
    assert [wire.size for wire in notes.wires] == ["AWG 16", "AWG 12"]
    assert look_at(notes.look_at[0]).startswith("line 1: 1 wire without a size")
    other = read_notes("all the 1.5 mm² are spare\nX1 1 red to X4 1\n")
    assert [wire.size for wire in other.wires] == [""]


def test_a_sentence_of_devices_without_an_end_asks_and_does_not_stop_the_page() -> None:
    notes = read_notes(
        "Roof plug (6 way)\n1 red  horn 1\nhorn 2 red to fuse 1. Lamp bodies plastic, no earth\n"
    )
    assert [wire.line for wire in notes.wires] == [2]
    assert [line.number for line in notes.unread] == [3]
