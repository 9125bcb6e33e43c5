"""Chi-square and Student's t for whole degrees of freedom, in closed form.

M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 1964: 26.4.4 and 26.4.5 (chi-square),
26.7.3 and 26.7.4 (Student's t). For the few values of a small loom they are done long before scipy.special
is imported; a test holds them to it.
"""

from __future__ import annotations

import math

MOST_DEGREES = 300  # the sums have half as many terms, and exp(-700) is where they would lose their digits


def chi_square_tail(value: float, degrees: int) -> float:
    """Probability that a chi-square variable of `degrees` ≥ 1 exceeds `value`."""
    if not value > 0:
        return 1.0
    half = value / 2
    if half > 700:  # exp(-half) is nothing
        return 0.0
    if degrees % 2:
        total, term, order = math.erfc(math.sqrt(half)), math.sqrt(half / math.pi) * 2, 1.5
    else:
        total, term, order = 0.0, 1.0, 1.0
    factor = math.exp(-half)
    for _ in range(degrees // 2):
        total += factor * term
        term *= half / order
        order += 1
    return min(total, 1.0)


def student_below(t: float, degrees: int) -> float:
    """Probability that Student's t of `degrees` ≥ 1 lies below `t`."""
    angle = math.atan(t / math.sqrt(degrees))
    sine, cosine = math.sin(angle), math.cos(angle)
    term = cosine if degrees % 2 else 1.0
    total = 0.0
    for k in range(2 + degrees % 2, degrees + 1, 2):
        total += term
        term *= cosine * cosine * (k - 1) / k
    if degrees % 2:
        return 0.5 + (angle + sine * total) / math.pi
    return 0.5 + sine * total / 2


def student_quantile(probability: float, degrees: int, start: float) -> float:
    """The t that `probability` of the distribution lies below, by Newton's steps from `start`."""
    log_scale = math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2) - math.log(degrees * math.pi) / 2
    t = start
    for _ in range(200):
        density = math.exp(log_scale - (degrees + 1) / 2 * math.log1p(t * t / degrees))
        step = (student_below(t, degrees) - probability) / density
        t -= max(-0.5 - abs(t) / 2, min(step, 0.5 + abs(t) / 2))  # heavy tails overshoot
        if abs(step) <= 1e-13 * (1 + abs(t)):
            break
    return t
