"""The one error this package raises."""


class SignalError(ValueError):
    """A stimulus was asked for that cannot be made; the message says what, and what would do."""
