"""Colours that keep apart for every eye, and a word and a shape for every kind of fault."""

from __future__ import annotations

from itertools import combinations
from typing import get_args

import numpy as np
import pytest

from loomtest.diagnosis.verdict import Fault, Finding
from loomtest.evidence.danger import ranked
from loomtest.evidence.look import DARK, FAULT_WORD, LIGHT, MARKS
from tests.evidence import example

# Machado, Oliveira, Fernandes, "A physiologically-based model for simulation of color vision deficiency"
# (IEEE TVCG 15, 2009), matrices at severity 1.0, on linear RGB (value from memory).
EYES = {
    "usual": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(colour: str) -> np.ndarray:
    srgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = np.clip(to_xyz @ np.clip(rgb, 0, 1), 0, None) / np.array([0.9505, 1.0, 1.089])
    f = [np.cbrt(v) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """WCAG 2.1 contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    light, dark = sorted((float(linear(c) @ weights) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_the_three_answers_keep_apart_for_every_eye(eye: str, palette: dict[str, str]) -> None:
    for one, other in combinations(("good", "doubt", "bad"), 2):
        a, b = (lab(EYES[eye] @ linear(palette[name])) for name in (one, other))
        assert np.linalg.norm(a - b) > 20, (one, other)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_is_legible_on_every_ground(palette: dict[str, str]) -> None:
    for ground in ("paper", "card", "body"):
        for name in ("ink", "soft", "good", "doubt", "bad"):
            assert contrast(palette[name], palette[ground]) >= 4.5, (name, ground)
    for tone in ("good", "doubt", "bad"):
        assert contrast(palette["mark"], palette[tone]) >= 4.5


def test_every_kind_of_fault_has_a_word_a_shape_and_a_rank() -> None:
    kinds = get_args(Fault)
    assert set(FAULT_WORD) == set(MARKS) == set(kinds)
    assert len(set(FAULT_WORD.values())) == len({MARKS[kind].outlines for kind in kinds}) == len(kinds)
    assert len({MARKS[kind].sign for kind in kinds}) == len(kinds)
    harness = example.tractor()
    findings = [Finding(kind, ("X1:3", "SOL")) for kind in reversed(kinds)]
    order = [finding.fault for finding in ranked(findings, example.verdict(harness), harness)]
    assert order[0] == "short"
    assert sorted(order) == sorted(kinds)


def test_a_hot_joint_stands_before_what_merely_does_not_work() -> None:
    harness = example.tractor()
    order = [f.fault for f in ranked(example.FINDINGS, example.verdict(harness), harness)]
    assert order == ["short", "high-resistance", "crossed", "open"]
