"""What real-time tests do where the machine is too busy for real time."""

import functools
from collections.abc import Callable

from distort.errors import PausedError, RecordingError


def again_where_busy(test: Callable[..., None]) -> Callable[..., None]:
    """The test up to three times where the sound card lost samples or hung: its user is told to play again, too.

    With two processes of tests on two processors one recording of some hundred lost samples.
    """

    @functools.wraps(test)
    def patient(**arguments: object) -> None:
        for _ in range(2):
            try:
                return test(**arguments)
            except PausedError:
                continue
            except RecordingError as error:
                if "the sound card" not in str(error):
                    raise
        return test(**arguments)

    return patient
