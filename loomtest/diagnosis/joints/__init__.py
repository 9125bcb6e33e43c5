"""How many ohms every wire has with its two joints, and which are too many."""
