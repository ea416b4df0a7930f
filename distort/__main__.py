"""The command line's way in and out: words to a command, and every ending to an exit status.

0 done, 1 the data does not allow the answer, 2 wrong usage, 130 interrupted.
"""

import os
import sys
from collections.abc import Collection, Sequence
from concurrent.futures import BrokenExecutor

from distort.errors import DistortError, UsageError, shown
from distort.quiet import quieten_libraries
from distort.system import Refusal, is_closed_pipe, keep_memory, refusal
from distort.version import __version__

DONE, NO_ANSWER, WRONG_USAGE, INTERRUPTED = 0, 1, 2, 130


def main(words: Sequence[str] | None = None) -> int:
    """Run the command that `words` (default: those of the program) name; returns the exit status."""
    if words is None:
        quieten_libraries()
        keep_memory()
        words = sys.argv[1:]
    words = list(words)
    # where the caller closed them Python has none, and nobody reads
    sys.stdout, sys.stderr = (stream or open(os.devnull, "w") for stream in (sys.stdout, sys.stderr))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a name that the terminal cannot spell must not end the work
    try:
        status = _run(words)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return INTERRUPTED
    except Exception as error:  # noqa: BLE001  the one place where every error becomes a sentence
        if isinstance(error, OSError) and is_closed_pipe(error):
            # whoever read our output has read enough; Python would complain once more when it closes stdout
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return DONE
        if "--debug" in words:
            import traceback

            traceback.print_exc()
        from distort.report.text.readable import one_line

        said = f"distort: {one_line(_sentence(error))}"
        print(_folded(said) if sys.stderr.isatty() else said, file=sys.stderr)
        return WRONG_USAGE if isinstance(error, UsageError) else NO_ANSWER


def _run(words: list[str]) -> int:
    # here, because it takes a moment in which a user may interrupt already
    from distort.commands.parser import check_leftover
    from distort.commands.session_lock import alone
    from distort.commands.sessions import settle_condition
    from distort.commands.table import build_parser

    parser = build_parser()
    _check_command(words, parser.commands())
    arguments, leftover = parser.parse_known_args(words)
    if arguments.version:
        print(f"distort {__version__}")
        return DONE
    if arguments.command is None:
        parser.print_help(sys.stderr)
        return WRONG_USAGE
    check_leftover(arguments.command_parser, leftover)
    settle_condition(arguments)
    with alone(arguments):
        status: int = arguments.run(arguments)
    return status


def _check_command(words: Sequence[str], commands: Collection[str]) -> None:
    first = next((word for word in words if not word.startswith("-")), None)
    if first is not None and first not in commands:
        from distort.commands.parser import right_word

        raise UsageError(f"there is no command {shown(first)}{right_word(first, commands)}. See distort --help")


def _folded(sentence: str) -> str:
    """A sentence in lines of a terminal, 80 columns at most; words stay whole, so that paths can be copied."""
    import shutil
    import textwrap

    width = min(shutil.get_terminal_size().columns, 80)
    return textwrap.fill(sentence, width, break_long_words=False, break_on_hyphens=False)


def _sentence(error: Exception) -> str:
    """What the user reads about `error`."""
    if isinstance(error, DistortError):
        return str(error)
    if isinstance(error, OSError):
        return _system_sentence(error)
    if isinstance(error, ValueError):
        from signals.errors import SignalError

        if isinstance(error, SignalError):
            return str(error)
    if isinstance(error, MemoryError):
        return "there is not enough memory for this: close other programs, or use a machine that has more"
    if isinstance(error, BrokenExecutor):
        return "a process that shared the work ended without a word: was it out of memory, or killed? Try again"
    return (
        f"a fault in this program: {type(error).__name__}: {error}. "
        f"Run the command again with --debug and send what it prints to the authors."
    )


def _system_sentence(error: OSError) -> str:
    where = f" {error.filename}" if error.filename else ""
    words = {
        Refusal.MISSING: f"there is no file or folder{where}",
        Refusal.READ_ONLY: f"this account may not read or write{where}: change its permissions or use another folder",
        Refusal.IN_USE: f"another program has a file open{where and ':'}{where}: close it there and try again",
        Refusal.FULL: f"the disk is full{where and ':'}{where}",
        Refusal.A_FOLDER: f"a file is needed, but{where} is a folder",
        Refusal.NO_FOLDER: f"a folder is needed, but{where} is or lies below a file",
    }
    return words.get(refusal(error)) or f"{error.strerror or error}{where and ':'}{where}"


if __name__ == "__main__":
    sys.exit(main())
