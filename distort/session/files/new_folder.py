"""A new folder that is there only if what belongs into it is."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from distort.session.files.atomic import make_folder


@contextmanager
def new_folder(path: Path) -> Iterator[None]:
    """Make `path` and the folders above it, as far as they are missing, while the body fills it; it may be there.

    When that fails, those that were made here go again, as far as they are empty. Raises SessionError when a folder
    cannot be made.
    """
    missing = [folder for folder in (path, *path.parents) if not os.path.lexists(folder)]
    try:
        make_folder(path)
        yield
    except BaseException:
        for folder in missing:  # from the innermost out
            with suppress(OSError):  # not empty, or never made: what failed is told, not this
                folder.rmdir()
        raise
