"""Marker clips: which resistors to buy, and what touches against the common say of the loom."""
