"""Notes in whole sentences: verbs, what a sentence is about, what its words point back to.

How people write is nobody's standard: common practice. All pages are invented.
"""

from __future__ import annotations

import pytest

from loomtest.harness.notes.reader import read_notes


def wires(text: str) -> list[str]:
    return [wire.words for wire in read_notes(text).wires]


def asked(text: str) -> list[str]:
    return [line.text for line in read_notes(text).lines if line.kind.value == "unread"]


FROM_ONE_TO_THE_OTHER = """goes aft to|is led to|is bolted to|is earthed at|was brought back to
    |passes along to|splices into|ties into|crosses to|drops down to|is fastened to|grounds to
    |has been wired straight to|heads off to|branches to|reaches|energises|is the feed for
    |then just runs to|daisy chains on to|arrives at|is pinned into
    |is fed from|takes its supply from|picks up its feed from|is driven by|hangs off|is looped from
    |originates at|draws its power from|taps off|receives its feed from|is switched by|leaves from"""


@pytest.mark.parametrize("verb", [" ".join(verb.split()) for verb in FROM_ONE_TO_THE_OTHER.split("|")])
def test_a_verb_and_its_preposition_join_two_ends(verb: str) -> None:
    page = f"fuse box 3 to horn button 1\nkey switch 2 {verb} fuse box 3, red"
    assert wires(page)[1] == "key_switch:2 red to fuse_box:3"


def test_what_joins_nothing_is_no_join() -> None:
    denied = wires("key switch 2 to fuse box 3, red, NOT connected to fuse box 4")
    assert denied == ["key_switch:2 red to fuse_box:3  # NOT connected to fuse box 4"]
    assert wires("step led to frame lug, black") == ["step_led black to frame_lug"]
    assert wires("old plug P9 replaced by P1: P9-1 = P1-A, P9-2 = P1-F") == []
