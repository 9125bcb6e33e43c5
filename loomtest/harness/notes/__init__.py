"""From the lines on a notepad to a wire list."""
