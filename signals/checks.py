"""Checks that every stimulus shares: each raises SignalError with one sentence."""

import math

from signals.errors import SignalError


def require_finite(**values: float | None) -> None:
    """Every given number must be finite; None (not given) passes."""
    for name, value in values.items():
        if value is not None and not math.isfinite(value):
            raise SignalError(f"{name} must be a finite number, not {value}")


def require_positive(**values: float | None) -> None:
    """Every given number must be finite and above zero; None (not given) passes."""
    require_finite(**values)
    for name, value in values.items():
        if value is not None and value <= 0:
            raise SignalError(f"{name} must be above 0, not {value}")


def require_within_full_scale(peak_dbfs: float) -> None:
    """The peak of what is played, in dB re digital full scale, must not exceed 0."""
    require_finite(peak_dbfs=peak_dbfs)
    if peak_dbfs > 1e-9:  # rounding of a level that was itself computed
        raise SignalError(f"the peak would be {peak_dbfs:+.2f} dB above digital full scale: lower the drive by as much")


def require_below_nyquist(frequency_hz: float, sample_rate: int, name: str) -> None:
    """`frequency_hz` must lie below half the sample rate."""
    if frequency_hz >= sample_rate / 2:
        raise SignalError(
            f"{name} = {frequency_hz:g} Hz is not below half the sample rate ({sample_rate / 2:g} Hz): "
            f"lower it or raise sample_rate"
        )
