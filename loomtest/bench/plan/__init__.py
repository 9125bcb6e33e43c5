"""Which pairs to probe, in which order, and what that proves."""
