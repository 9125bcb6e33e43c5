"""What changed between two runs."""
