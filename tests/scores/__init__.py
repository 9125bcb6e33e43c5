"""Benchmarks of the answers: how often they are right. Run with `python -m tests.scores.NAME`."""
