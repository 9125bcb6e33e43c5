"""Every input that ever broke a reader, and a few hundred spoilt ones a reader, every time.

The full runs are `python -m tests.fuzz`: see docs/reliability.md.
"""

from __future__ import annotations

import random
import zlib
from pathlib import Path

import pytest

from tests.fuzz.changes import changed
from tests.fuzz.targets import TARGETS, Target

SEEDS = Path(__file__).parent / "seeds"
FILES = sorted(path for path in SEEDS.glob("*/*") if path.is_file())
TRIED = {"bag": 40, "readings": 150, "index": 10, "requests": 60, "exchange": 100, "parquet": 80}


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_what_once_broke_a_reader_breaks_it_no_more(path: Path) -> None:
    TARGETS[path.parent.name].run(path.read_bytes())


def test_every_folder_of_seeds_has_its_reader() -> None:
    assert {path.parent.name for path in FILES} <= set(TARGETS)
    assert len(FILES) > 20


def spoilt(target: Target, chance: random.Random) -> bytes:
    """A good input changed by its pieces; or up to five changes of bytes, words put in, inputs crossed."""
    if chance.random() < 0.5:
        good = chance.choice(target.seeds)
        return changed(good, target.seeds, target.words, target.longest, chance)
    data = bytearray(chance.choice(target.seeds))
    for _ in range(chance.randrange(6)):
        at = chance.randrange(len(data) + 1)
        kind = chance.randrange(5)
        if kind == 0:
            del data[at : at + chance.randrange(8)]
        elif kind == 1:
            data[at:at] = data[at : at + chance.randrange(12)]
        elif kind == 2:
            data[at : at + 1] = bytes([chance.randrange(256)])
        elif kind == 3 and target.words:
            data[at:at] = chance.choice(target.words)
        else:
            data[at:] = chance.choice(target.seeds)[chance.randrange(len(data) + 1) :]
    return bytes(data[: target.longest])


@pytest.mark.parametrize("name", TARGETS)
def test_spoilt_input_is_refused_or_read_right(name: str) -> None:
    chance = random.Random(zlib.crc32(name.encode()))
    for _ in range(TRIED.get(name, 300)):
        TARGETS[name].run(spoilt(TARGETS[name], chance))
