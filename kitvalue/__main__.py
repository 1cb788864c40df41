"""`python -m kitvalue`, and what the installed command runs."""

from __future__ import annotations

import _thread
import atexit
import gc
import os
import sys
import threading
import warnings
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sys import UnraisableHookArgs


def run() -> None:
    """The command line of this process."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # what a library says to its programmers; -W shows it
    sys.unraisablehook = heed
    for stream in range(3):
        try:
            os.fstat(stream)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # else a file of the shop gets its number, and with it what was meant for it
    atexit.register(
        gc.freeze
    )  # at the end all memory is given back at once; looking through it takes a tenth of a start
    gc.set_threshold(100_000)  # what a start makes stays: looking through it again and again takes a tenth of a start
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # looking for them takes a tenth of a start
    try:
        from kitvalue.cli.main import main

        main(prog_name="kitvalue")
    except KeyboardInterrupt:
        sys.exit(130)  # before the command line could say so


def heed(lost: UnraisableHookArgs) -> None:
    """A Ctrl-C that falls where Python can raise nothing, such as the end of an import, is sent again, not lost."""
    if issubclass(lost.exc_type, KeyboardInterrupt):
        threading.Timer(0.01, _thread.interrupt_main).start()  # not from here, where it would be lost as well
    else:
        sys.__unraisablehook__(lost)


if __name__ == "__main__":
    run()
