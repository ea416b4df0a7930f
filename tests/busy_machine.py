"""What real-time tests do where the machine is too busy for real time."""

import functools
from collections.abc import Callable

from distort.errors import RecordingError


def again_where_busy(test: Callable[..., None]) -> Callable[..., None]:
    """The test up to three times where the sound card lost samples: play again is what the program tells its user, too.

    With two processes of tests on two processors one recording of some hundred lost samples.
    """

    @functools.wraps(test)
    def patient(**arguments: object) -> None:
        for _ in range(2):
            try:
                return test(**arguments)
            except RecordingError as error:
                if "the sound card" not in str(error):
                    raise
        return test(**arguments)

    return patient
