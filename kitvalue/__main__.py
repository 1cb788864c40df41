"""`python -m kitvalue`, and what the installed command runs."""

from __future__ import annotations

import os
import sys
import warnings


def run() -> None:
    """The command line of this process."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # what a library says to its programmers; -W shows it
    for stream in range(3):
        try:
            os.fstat(stream)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # else a file of the shop gets its number, and with it what was meant for it
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # looking for them takes a tenth of a start
    try:
        from kitvalue.cli import main

        main(prog_name="kitvalue")
    except KeyboardInterrupt:
        sys.exit(130)  # before the command line could say so


if __name__ == "__main__":
    run()
