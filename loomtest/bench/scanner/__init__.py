"""The pin-scanner: its lines, its driver, and what its scan becomes."""
