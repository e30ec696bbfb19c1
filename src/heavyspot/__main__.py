"""``python -m heavyspot``, and what the command itself runs: Ctrl-C while it still starts is no fault."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line."""
    try:
        from heavyspot.cli.main import main

        main()
    except KeyboardInterrupt:
        sys.stderr.write("Stopped.\n")
        sys.exit(130)


if __name__ == "__main__":
    run()
