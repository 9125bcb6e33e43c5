"""The bench page: the whole job in a browser, over the same functions as the commands."""
