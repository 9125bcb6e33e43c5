"""Room 3, what it means: opens, shorts, crossed pins, joints, decisions. Pure functions over arrays."""
