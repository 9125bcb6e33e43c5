"""The first looms of the hunt, as many as half a minute holds: no wrong answer, whatever their shape."""

from __future__ import annotations

import pytest

from tests.scores.hunt import hunt

EACH = 100


@pytest.mark.parametrize("seed", range(0, 600, EACH))
def test_no_wrong_answer_among_the_first_looms(seed: int) -> None:
    assert hunt(EACH, seed) == []
