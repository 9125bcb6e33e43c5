"""How verbs use a terminal: help, text, screen, progress."""
