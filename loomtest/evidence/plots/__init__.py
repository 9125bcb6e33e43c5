"""Before and after as plots."""
