"""Arithmetic that knows nothing of looms: networks, distributions, distinct values."""
