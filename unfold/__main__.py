"""`python -m unfold` is the `unfold` command."""

import os
import sys
from typing import NoReturn

from unfold.cli import main


def command() -> NoReturn:
    """Run the command line and end the process there and then.

    By then everything is written and every thread and process has ended; to take down the libraries and objects of a
    job one by one would take Python another half second, and the system takes them back at once.
    """
    status = main()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):  # whoever read them has gone
        status = status or 1
    os._exit(status)


if __name__ == "__main__":
    command()
