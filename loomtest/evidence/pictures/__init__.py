"""Drawings of the loom, its connectors and its faults."""
