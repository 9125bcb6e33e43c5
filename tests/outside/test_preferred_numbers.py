"""The kit has values that shops have (IEC 60063, E24 and E96); side by side they are as networkx has it."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest

from loomtest.diagnosis.markers.kit import SERIES, choose_kit, series_values
from loomtest.diagnosis.markers.touches import side_by_side_ohm
from loomtest.readings.instrument import load_instrument
from tests.outside.published import rows_of


@pytest.mark.parametrize("series", SERIES)
def test_the_series_are_those_of_the_standard(series: str) -> None:
    published = [int(row["hundredths"]) for row in rows_of("iec60063.csv") if row["series"] == series]
    assert [round(100 * value) for value in series_values(series)] == published
    assert len(published) == int(series[1:])


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_clips_side_by_side_have_the_resistance_distance(count: int) -> None:
    kit = choose_kit(load_instrument("handheld-3half"), 24)
    assert kit is not None
    ohms = [float(v) for v in np.random.default_rng(count).choice(kit.ohms, count, replace=False)]
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for ohm in ohms:
        graph.add_edge("circuit", "common", weight=ohm)
    expected = nx.resistance_distance(graph, "circuit", "common", weight="weight", invert_weight=True)
    assert side_by_side_ohm(ohms) == pytest.approx(expected)
