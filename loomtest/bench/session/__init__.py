"""The guided session: which pair next, and what came of it."""
