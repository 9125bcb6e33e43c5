"""What healthy copper and healthy joints are, from sound units: a model of variance components.

Wire w of unit u has r = f·c_w·(1 + d_w + e_uw) + two joints. c_w is solid annealed copper at the run's
temperature, f the copper factor; d_w (standard deviation `length`) is how far the wire list is off, the same
in every unit; e_uw (`copper`) changes from one unit to the next; a joint has mean `joint` and a standard
deviation. What is read of it is `Taken`. f and the joint's mean are linear and integrated out under a wide
prior, which leaves the restricted likelihood of the three standard deviations (H. D. Patterson, R. Thompson,
Biometrika 58, 1971); these have a flat prior too (A. Gelman, Bayesian Anal. 1, 2006). Their posterior is
sampled by importance with a Student distribution about its peak, over logarithms.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.units.taken import Taken
from loomtest.harness.model import FloatArray

_POINTS, _ROUNDS = 250, 3
_STUDENT = 5.0
_DRAWS = 8  # of factor and joint for each point
_STARTS = (0.02, 0.02, 1e-3)  # shares of copper, and ohms
_LEAST, _MOST = (1e-4, 1e-4, 1e-6), (1.0, 1.0, 0.1)
# Factor and joint (ohms): so wide that it says nothing where the units do, and bounds what they cannot tell:
# wires that all have the same copper tell the two only together.
_WEAK_MEAN, _WEAK_SD = np.array([1.05, 0.002]), np.array([0.25, 0.01])
_SEED = 20260101  # the same runs give the same numbers


@dataclass(frozen=True, eq=False)
class Draws:
    """k draws of the posterior with their weights (k,), which sum to 1: `factor`; `copper`, `length` (shares
    of copper, standard deviations); `joint_ohm`, `joint_spread_ohm`: mean and standard deviation of one."""

    weight: FloatArray
    factor: FloatArray
    copper: FloatArray
    length: FloatArray
    joint_ohm: FloatArray
    joint_spread_ohm: FloatArray


@dataclass(frozen=True)
class _Fit:
    """Restricted log likelihood, and mean and covariance of (factor, joint mean) given the deviations."""

    log_likelihood: float
    mean: FloatArray
    covariance: FloatArray


class _Stack:
    """The units as arrays, those with equally many readings side by side."""

    def __init__(self, units: Sequence[Taken]) -> None:
        self.wires = units[0].a.shape[1]
        meters = list(dict.fromkeys(unit.instrument for unit in units))
        self.extra = 2 * len(meters) + 1
        self.groups: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = []
        by_size: dict[int, list[Taken]] = {}
        for unit in units:
            if len(unit.ohm):
                by_size.setdefault(len(unit.ohm), []).append(unit)
        for same in by_size.values():
            a = np.stack([unit.a for unit in same])
            copper = np.stack([unit.copper for unit in same])
            fixed = np.stack([self._own(unit) for unit in same])
            right = np.stack([self._right(unit, meters) for unit in same])
            self.groups.append((a, copper, fixed, right))

    @staticmethod
    def _own(unit: Taken) -> FloatArray:
        """(n, n) covariance that has nothing to do with the wires' spread."""
        warm = unit.a @ unit.copper * (unit.warmth if unit.warmth_is_own else 0.0)
        return np.asarray(np.diag(unit.own**2) + np.outer(unit.run, unit.run) + np.outer(warm, warm))

    def _right(self, unit: Taken, meters: list[str]) -> FloatArray:
        """(n, W + extra + 3): what units share, by wire and by meter; the two means; the values."""
        common = np.zeros((len(unit.ohm), self.extra))
        at = 2 * meters.index(unit.instrument)
        common[:, at : at + 2] = unit.meter
        if not unit.warmth_is_own:
            common[:, -1] = unit.a @ unit.copper * unit.warmth
        copper, joints = unit.a @ unit.copper, 2 * unit.a.sum(axis=1)
        return np.column_stack([unit.a * unit.copper, common, copper, joints, unit.ohm])

    def fit(self, deviations: FloatArray) -> _Fit:
        """`deviations`: (copper, length, joint). K = V + F·Fᵀ by Woodbury, V one block a unit."""
        copper_sd, length_sd, joint_sd = deviations.tolist()
        scale = np.ones(self.wires + self.extra + 3)
        scale[: self.wires] = length_sd
        total, log_det = np.zeros((scale.size, scale.size)), 0.0
        for a, copper, fixed, right in self.groups:
            spread = (copper_sd * copper) ** 2 + 2 * joint_sd**2
            factor = np.linalg.cholesky(fixed + np.matmul(a * spread[:, None, :], np.swapaxes(a, 1, 2)))
            half = np.linalg.solve(factor, right)
            total += np.einsum("uni,unj->ij", half, half, optimize=True)
            log_det += 2 * float(np.log(np.diagonal(factor, axis1=1, axis2=2)).sum())
        total *= np.outer(scale, scale)
        m = self.wires + self.extra
        inner = np.linalg.cholesky(np.eye(m) + total[:m, :m])
        cross = np.linalg.solve(inner, total[:m, m:])
        left = total[m:, m:] - cross.T @ cross
        log_det += 2 * float(np.log(np.diagonal(inner)).sum())
        information, right_side = left[:2, :2], left[:2, 2]
        information = information + np.diag(_WEAK_SD**-2)
        right_side = right_side + _WEAK_MEAN * _WEAK_SD**-2
        covariance = np.linalg.inv(information)
        mean = covariance @ right_side
        rest = float(left[2, 2] + np.sum((_WEAK_MEAN / _WEAK_SD) ** 2) - right_side @ mean)
        log_likelihood = -0.5 * (log_det + math.log(np.linalg.det(information)) + rest)
        return _Fit(log_likelihood, mean, covariance)


def components_of(units: Sequence[Taken]) -> Draws:
    """The posterior of healthy copper and joints from sound units. Each has the same wires; at least one
    reading in all."""
    from scipy.optimize import minimize

    stack = _Stack(units)
    low, high = np.log(_LEAST), np.log(_MOST)

    def target(logs: FloatArray) -> float:
        """Log posterior over the logarithms of the deviations, with the flat prior's Jacobian."""
        if np.any(logs < low) or np.any(logs > high):
            return -math.inf
        return stack.fit(np.exp(logs)).log_likelihood + float(np.sum(logs))

    def against(logs: FloatArray) -> float:
        return -max(target(logs), -1e300)

    start = np.log(np.array(_STARTS))
    found = minimize(against, start, method="Nelder-Mead", options={"xatol": 0.02, "fatol": 0.02})
    points, weight = _sampled(target, np.asarray(found.x, dtype=np.float64))
    return _drawn(stack, points, weight)


def _sampled(target: Callable[[FloatArray], float], peak: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(points (k, 3), weights (k,)): importance sampling that takes its shape from the round before."""
    rng = np.random.default_rng(_SEED)
    centre, shape = peak, np.eye(3) * 0.3**2
    for _ in range(_ROUNDS):
        root = np.linalg.cholesky(shape)
        normal = rng.standard_normal((_POINTS, 3))
        chi = rng.chisquare(_STUDENT, _POINTS) / _STUDENT
        away = normal / np.sqrt(chi)[:, None]
        points = centre + away @ root.T
        log_proposed = -0.5 * (_STUDENT + 3) * np.log1p(np.sum(away**2, axis=1) / _STUDENT)
        log_target = np.array([target(point) for point in points])
        ratio = log_target - log_proposed
        weight = np.exp(ratio - ratio.max())
        weight /= weight.sum()
        centre = weight @ points
        apart = points - centre
        shape = 1.2 * (apart * weight[:, None]).T @ apart + np.eye(3) * 0.05**2
    return points, weight


def _drawn(stack: _Stack, points: FloatArray, weight: FloatArray) -> Draws:
    rng = np.random.default_rng(_SEED + 1)
    kept = np.flatnonzero(weight > 1e-6 * weight.max())
    factor, joint = np.empty((kept.size, _DRAWS)), np.empty((kept.size, _DRAWS))
    for at, index in enumerate(kept):
        fit = stack.fit(np.exp(points[index]))
        drawn = fit.mean + rng.standard_normal((_DRAWS, 2)) @ np.linalg.cholesky(fit.covariance).T
        factor[at], joint[at] = drawn.T
    deviations = np.repeat(np.exp(points[kept]), _DRAWS, axis=0)
    weights = np.repeat(weight[kept], _DRAWS)
    # what is drawn as a share of solid copper is told as a share of the wire's own
    return Draws(
        weights / weights.sum(),
        factor.ravel(),
        deviations[:, 0] / np.maximum(factor.ravel(), 0.1),
        deviations[:, 1] / np.maximum(factor.ravel(), 0.1),
        joint.ravel(),
        deviations[:, 2],
    )
