"""The one error this package raises, and how an error shows a wrong value."""

MOST_SHOWN = 80
"""Characters of a wrong value in an error: enough to find it by, and what is wrong with it is still read."""


class SignalError(ValueError):
    """A stimulus was asked for that cannot be made; the message says what, and what would do."""


def shown(value: object) -> str:
    """`value` as Python spells it, with its middle left out where that takes more than MOST_SHOWN characters."""
    try:
        written = repr(value)
    except ValueError:  # Python spells no whole number of thousands of digits: it would take minutes
        return "a number of thousands of digits"
    if len(written) <= MOST_SHOWN:
        return written
    length = len(value) if isinstance(value, str) else len(written)
    return f"{written[: MOST_SHOWN // 2]}...{written[-MOST_SHOWN // 4 :]} ({length:,} characters)"
