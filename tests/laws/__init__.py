"""What must hold of every verdict, whatever the loom and the readings."""
