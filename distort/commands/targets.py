"""A session and a condition in one word: FOLDER or FOLDER:CONDITION."""

from pathlib import Path

from distort.commands.values import path


def session_and_condition(text: str) -> tuple[Path, str | None]:
    """The folder and the condition that a word of the command line names; None: it names no condition.

    A folder whose own name holds a colon is meant as it stands. Raises ArgumentTypeError for an empty name.
    """
    folder, colon, condition = text.rpartition(":")
    if not colon or path(text).is_dir():
        return path(text), None
    return path(folder), condition
