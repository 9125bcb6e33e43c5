"""Tables and generic instrument files, each with its source."""
