"""The picture of the loom: the layout follows the lengths, every fault is marked, nothing covers another."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from loomtest.diagnosis.verdict import Finding, Suspect
from loomtest.evidence.pictures.drawing import Box, Dot, Drawing, Polyline, Way, Words, bands
from loomtest.evidence.pictures.faces import cells_of
from loomtest.evidence.pictures.layout import lay_out
from loomtest.evidence.pictures.letters import text_width
from loomtest.evidence.pictures.loom import loom_picture
from loomtest.evidence.pictures.spots import TAG
from loomtest.harness.model import Face, Harness, Wire
from loomtest.words.labels import FAULT_WORD
from tests.evidence import example

TONES = {"bad", "doubt"}


def loom(wires: list[tuple[str, str, float]], **settings: object) -> Harness:
    rows = tuple(Wire(f"W{i}", a, b, length_m=m) for i, (a, b, m) in enumerate(wires))
    points = tuple(dict.fromkeys(p for row in rows for p in (row.start, row.end)))
    return Harness("a loom", rows, points, **settings)


def test_distances_of_a_branching_loom_place_every_end_exactly() -> None:
    # trunk A -1- J -2- K -3- B; C hangs 0.5 m from J, D 0.25 m from K: all pairwise lengths are sums
    harness = loom(
        [
            ("A:1", "B:1", 6.0),
            ("A:2", "C:1", 1.5),
            ("C:2", "B:2", 5.5),
            ("A:3", "D:1", 3.25),
            ("D:2", "B:3", 3.25),
        ]
    )
    board = lay_out(harness)
    place = dict(zip(board.hubs, zip(board.along_m, board.away_m, strict=True), strict=True))
    assert place["A"] == pytest.approx((0.0, 0.0))
    assert place["C"] == pytest.approx((1.0, 0.5))
    assert place["D"] == pytest.approx((3.0, 0.25))
    assert place["B"] == pytest.approx((6.0, 0.0))
    assert board.hubs == ("A", "C", "D", "B")


def test_separate_looms_follow_one_another() -> None:
    board = lay_out(loom([("A:1", "B:1", 2.0), ("C:1", "D:1", 1.0)]))
    assert len(board.hubs) == 4
    assert np.all(np.isfinite(board.along_m))
    assert set(board.hubs[:2]) == {"A", "B"}


def test_cavities_lie_as_the_face_says() -> None:
    cavities = {"X1": ("1", "2", "3", "4", "5", "6")}
    for numbering, third in (("across", (2, 0)), ("down", (1, 0)), ("back-and-forth", (2, 0))):
        harness = loom([("X1:1", "G", 1.0)], cavities=cavities, faces={"X1": Face(2, numbering)})
        cells = {cell.cavity: (cell.column, cell.row) for cell in cells_of(harness, "X1")}
        assert cells["3"] == third
        assert len(set(cells.values())) == 6
        if numbering == "back-and-forth":
            assert cells["4"] == (2, 1)


def tags(drawing: Drawing) -> list[tuple[Box, Words]]:
    boxes = [i for i in drawing.items if isinstance(i, Box) and i.h == 20 and {i.fill, i.stroke} & TONES]
    words = [i for i in drawing.items if isinstance(i, Words) and i.size == 12.5]
    return list(zip(boxes, words, strict=True))


def labels(drawing: Drawing) -> dict[str, Box]:
    """What is written at the ends of wires, with the box about it."""
    found = {}
    for box, words in pairwise(drawing.items):
        if isinstance(box, Box) and box.h == 16 and isinstance(words, Words):
            found[words.text] = box
    return found


def names_of(drawing: Drawing) -> dict[str, float]:
    return {i.text: i.x for i in drawing.items if isinstance(i, Words) and i.size == 14 and i.bold}


def test_every_fault_is_marked_by_number_and_word_where_it_is() -> None:
    harness = example.tractor()
    drawing = loom_picture(harness, example.FINDINGS, [example.DOUBT])
    said = sorted(words.text for _, words in tags(drawing))
    assert said == ["1 crossed", "2 open", "3 poor joint", "4 short", "5 poor joint?"]
    at = {words.text: box for box, words in tags(drawing)}
    box = at["3 poor joint"]
    assert box.x + box.w / 2 == pytest.approx(names_of(drawing)["GND3"])
    for number, finding in enumerate((*example.FINDINGS, example.DOUBT), 1):
        assert f"{number} {FAULT_WORD[finding.fault]}" in drawing.text


def test_a_doubt_differs_from_a_fault_by_more_than_its_colour() -> None:
    harness = example.tractor()
    drawing = loom_picture(harness, example.FINDINGS, [example.DOUBT])
    for box, words in tags(drawing):
        doubt = words.text.endswith("?")
        assert doubt == (box.fill == "card")
        assert (box.fill in TONES) != doubt
    frames = [i for i in drawing.items if isinstance(i, Box) and i.stroke in TONES and i.width == 2.8]
    assert {bool(frame.dash) for frame in frames if frame.stroke == "doubt"} == {True}
    assert {bool(frame.dash) for frame in frames if frame.stroke == "bad"} == {False}
    strokes = {i.stroke: i.dash for i in drawing.items if isinstance(i, Polyline) and i.stroke in TONES}
    assert strokes["bad"] != strokes["doubt"]


def test_both_ends_of_a_wire_that_is_concerned_have_a_label() -> None:
    harness = example.tractor()
    drawing = loom_picture(harness, [Finding("open", ("X1:2", "X4:2"), (Suspect("W4"),))])
    names = names_of(drawing)
    told = {words: box.x + box.w / 2 for words, box in labels(drawing).items()}
    assert told == {
        "1: W4 to X1:2": pytest.approx(names["X4"]), "1: W4 to X4:2": pytest.approx(names["X1"]),
    }  # fmt: skip


def test_a_branch_with_many_labels_says_how_many_more() -> None:
    harness = loom([(f"X1:{i}", f"Y{i}:1", 1.0) for i in range(9)])
    findings = [Finding("open", (w.start, w.end), (Suspect(w.name),)) for w in harness.wires]
    told = labels(loom_picture(harness, findings))
    assert "and 5 more" in told
    assert sum(" to Y" in words for words in told) == 4


def test_the_picture_can_be_cut_between_its_rows() -> None:
    drawing = loom_picture(many(200, 12))
    parts = bands(drawing)
    assert len(parts) == len(drawing.cuts) + 1 > 3
    assert sum(part.height for part in parts) == pytest.approx(drawing.height)
    assert sum(len(part.items) for part in parts) == len(drawing.items)
    for part in parts:
        faces = [item for item in part.items if isinstance(item, Box) and item.radius == 7]
        assert len(faces) == len(names_of(part)) > 0  # no name is parted from its face
        for item in part.items:
            ys = [item.y] if isinstance(item, Box | Dot | Words) else [y for _, y in item.points]
            assert part.top <= min(ys)
            assert max(ys) <= part.top + part.height


def test_a_wire_can_be_followed_from_hub_to_hub() -> None:
    harness = example.tractor()
    drawing = loom_picture(harness)
    ways = [item for item in drawing.items if isinstance(item, Way)]
    assert {way.wire for way in ways} == {wire.name for wire in harness.wires} - {"F1", "Y1"}
    names = names_of(drawing)
    told = [way for way in ways if way.wire == "W20"]
    assert told[0].told == "black 2.5 mm² wire W20: X3 cavity 4 to GND3, rear ground"
    ends = sorted((told[0].points[0][0], told[-1].points[-1][0]))
    assert ends == pytest.approx(sorted((names["X3"], names["GND3"])))


def test_the_cavities_of_a_fault_are_framed_and_no_others() -> None:
    harness = example.tractor()
    drawing = loom_picture(harness, example.FINDINGS[:1])
    frames = [i for i in drawing.items if isinstance(i, Box) and i.stroke == "bad" and i.width == 2.8]
    named = {(item.x, item.y): item.title for item in drawing.items if isinstance(item, Dot) and item.title}
    centres = [(frame.x + frame.w / 2, frame.y + frame.h / 2) for frame in frames]
    assert sorted(named[centre].partition(": ")[0] for centre in centres) == ["X2:3", "X2:4"]


def test_the_wire_concerned_runs_as_a_broken_line() -> None:
    harness = example.tractor()
    open_only = loom_picture(harness, [Finding("open", ("X1:2", "X4:2"), (Suspect("W4"),))])
    dashed = [i for i in open_only.items if isinstance(i, Polyline) and i.stroke == "bad" and i.dash]
    assert dashed
    assert not [i for i in loom_picture(harness).items if isinstance(i, Polyline) and i.stroke == "bad"]


def many(count: int, per_connector: int) -> Harness:
    wires = []
    for i in range(count):
        connector, cavity = divmod(i, per_connector)
        wires.append((f"X{connector}:{cavity + 1}", f"Y{(i * 7) % 9}:{i + 1}", 0.5 + (i % 11) * 0.3))
    return loom(wires)


@pytest.mark.parametrize(("count", "per_connector"), [(1, 1), (24, 4), (200, 12), (500, 60)])
def test_nothing_covers_anything_else_and_all_stays_on_the_sheet(count: int, per_connector: int) -> None:
    harness = many(count, per_connector)
    findings = [
        Finding("open", (wire.start, wire.end), (Suspect(wire.name),))
        for wire in harness.wires[:: max(count // 12, 1)]
    ]
    drawing = loom_picture(harness, findings)
    framed = [i for i in drawing.items if isinstance(i, Box) and i.width == 2.8]
    solid = [i for i in drawing.items if isinstance(i, Box) and i not in framed and i.h > 11]
    solid += [
        _extent(words) for words in drawing.items if isinstance(words, Words) and words.size in (11, 14)
    ]
    solid = [box for box in solid if not _inside(box, solid)]
    for one, other in combinations(solid, 2):
        apart_x = one.x + one.w <= other.x + 0.1 or other.x + other.w <= one.x + 0.1
        apart_y = one.y + one.h <= other.y + 0.1 or other.y + other.h <= one.y + 0.1
        assert apart_x or apart_y, (one, other)
    for box in solid:
        assert box.x >= 0
        assert box.x + box.w <= drawing.width
        assert box.y >= 0
        assert box.y + box.h <= drawing.height
    assert len(tags(drawing)) == len(findings)
    assert TAG >= 20


def _extent(words: Words) -> Box:
    wide = text_width(words.text, words.size, words.bold) * 0.9  # room is kept for the widest letters
    left = words.x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor]
    return Box(left, words.y - 0.7 * words.size, wide, 0.7 * words.size, 0, "words")


def _inside(box: Box, others: list[Box]) -> bool:
    """Words stand inside their label."""
    return box.fill == "words" and any(
        o.fill == "card" and o.x <= box.x and box.x + box.w <= o.x + o.w and o.y <= box.y < o.y + o.h
        for o in others
    )


def test_of_a_very_large_loom_what_the_faults_concern_is_drawn_and_the_rest_counted() -> None:
    harness = loom([(f"A{i}", f"B{i}", 1.0) for i in range(3000)])
    finding = Finding("open", ("A2500", "B2500"), (Suspect("W2500"),))
    drawing = loom_picture(harness, [finding])
    names = names_of(drawing)
    assert {"A2500", "B2500"} <= set(names)
    words = [item.text for item in drawing.items if isinstance(item, Words)]
    more = [int(text.split()[0].replace(",", "")) for text in words if text.endswith(" more")]
    assert len(names) + sum(more) == 6000
    assert len(names) < 40
    assert drawing.text.startswith(f"{len(names)} connectors and terminals of 6000")
    assert drawing.height < 3000


def test_a_loom_of_two_hundred_wires_is_legible_on_paper() -> None:
    """The smallest lettering of ISO 3098-1 is 1.8 mm high (value from memory).

    A capital is 0.72 of the size it is set at (DejaVu Sans). Names of cavities longer than two letters are
    smaller, and stand in full in the tables.
    """
    drawing = loom_picture(many(200, 12))
    millimetres = (210 - 26) / drawing.width  # A4 less the page's margins
    written = [item for item in drawing.items if isinstance(item, Words) and item.size > 7]
    assert min(item.size for item in written) * 0.72 * millimetres >= 1.8
    names = [item for item in written if item.bold]
    assert min(item.size for item in names) * 0.72 * millimetres >= 2.5


@pytest.mark.parametrize(
    "wires",
    [[("X1:1", "X1:2", 1.0)], [("A", "B", 1.0)], [("X" * 99, "Y" * 100, 0.001), ("Z:" + "9" * 97, "B", 9e3)]],
)
def test_odd_looms_can_be_drawn(wires: list[tuple[str, str, float]]) -> None:
    drawing = loom_picture(loom(wires), [Finding("open", (wires[0][0], wires[0][1]), (Suspect("W0"),))])
    assert len(tags(drawing)) == 1
    assert np.isfinite(drawing.width)
    assert np.isfinite(drawing.height)
