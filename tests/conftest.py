"""Settings that every test shares."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

os.environ.setdefault("MPLBACKEND", "Agg")  # no test opens a window

# Examples are whole looms: few and the same in every run here, many and fresh ones with LOOMTEST_LAWS=deep.
slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile(
    "quick", max_examples=20, deadline=None, derandomize=True, suppress_health_check=slow
)
settings.register_profile("deep", max_examples=200, deadline=None, suppress_health_check=slow)
settings.load_profile(os.environ.get("LOOMTEST_LAWS", "quick"))
