"""loomtest: proves a rebuilt vehicle wiring loom right before it goes back in."""
