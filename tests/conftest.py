"""Settings that every test shares."""

from __future__ import annotations

import os
import signal

from hypothesis import HealthCheck, settings

os.environ.setdefault("MPLBACKEND", "Agg")  # no test opens a window

# A shell's background job ignores Ctrl-C, and so would every program that a test starts and interrupts.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Examples are whole looms: few and the same in every run here, many and fresh ones with LOOMTEST_LAWS=deep.
slow = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile(
    "quick", max_examples=20, deadline=None, derandomize=True, suppress_health_check=slow
)
settings.register_profile("deep", max_examples=200, deadline=None, suppress_health_check=slow)
settings.load_profile(os.environ.get("LOOMTEST_LAWS", "quick"))
