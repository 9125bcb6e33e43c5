"""Harnesses out of open exchange files: KBL 2.3 to 2.5 (VDA 4964), read as our own wire list and branches."""
