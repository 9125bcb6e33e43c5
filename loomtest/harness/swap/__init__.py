"""The harness after a connector change."""
