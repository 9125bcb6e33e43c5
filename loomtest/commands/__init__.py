"""The command line: one short file a verb. `main` is the program's entry point."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; every LoomtestError becomes one message and exit status 2."""
    from loomtest.commands.app import app
    from loomtest.errors import LoomtestError

    try:
        app()
    except LoomtestError as error:
        print(f"loomtest: {error}", file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        print("loomtest: interrupted; what was recorded is safe on disk", file=sys.stderr)
        sys.exit(130)
