"""Meters over a serial line: their protocols, the port, and hands-free capture."""
