"""What real-time tests do where the machine is too busy for real time."""

import functools
from collections.abc import Callable

from distort.errors import PausedError, RecordingError
from tests.clumsy_session import Ending


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


def patiently(attempt: Callable[[], Ending], *, status: int) -> Ending:
    """The same again where the machine was too busy for the sound card, as the program tells its user to.

    At twelve processes for two processors one recording of ten lost samples; this asks for five in a row.
    """
    for _ in range(5):
        ending = attempt()
        if "the sound card" not in ending.err:
            break
    assert ending.status == status, (ending.status, ending.err)
    return ending
