"""Other processes of this program: begun anew, deaf to Ctrl-C, and ended when the first one ends, however it ends."""

import os
import signal
import threading
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, parent_process

from distort.quiet import quieten_libraries
from distort.system import most_processes


def other_processes(count: int) -> ProcessPoolExecutor:
    """`count` processes to share work with; functions that they are given are named, so they stand in a module.

    They are begun anew, not forked: a fork inherits threads' locks, such as those of a progress bar, in any state.
    """
    return ProcessPoolExecutor(most_processes(count), mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Ctrl-C is for the first process, which then ends the others."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    quieten_libraries()
    threading.Thread(target=_end_with_the_first, daemon=True).start()


def _end_with_the_first() -> None:
    """Without this, whoever kills the first process leaves the others waiting for work for ever."""
    first = parent_process()
    if first is not None:
        first.join()
        os._exit(1)
