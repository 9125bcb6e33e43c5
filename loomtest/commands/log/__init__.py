"""`loomtest log`: the verb and its screens."""
