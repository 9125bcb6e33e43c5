"""The first looms of the hunt: no wrong answer among them, whatever their shape."""

from __future__ import annotations

import pytest

from tests.scores.hunt import hunt

EACH = 100


@pytest.mark.parametrize("seed", range(0, 1000, EACH))
def test_no_wrong_answer_among_the_first_looms(seed: int) -> None:
    assert hunt(EACH, seed) == []
