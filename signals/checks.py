"""Checks that every stimulus shares: each raises SignalError with one sentence."""

import math
import numbers

from signals.errors import SignalError

MOST_SAMPLES = 48_000 * 3600
"""Longest stimulus: an hour at 48 kHz, 1.4 GB. A description that promises more is refused before it is made."""

LEAST_DRIVE_DBFS = -300.0
"""Far below the last bit of any converter; a level that no number can hold would divide by zero."""


def require_length(samples: float) -> None:
    """What is played must have at least one sample and at most MOST_SAMPLES."""
    if not 0.5 < samples <= MOST_SAMPLES:
        raise SignalError(f"{samples:g} samples cannot be played: at least one and at most {MOST_SAMPLES} are needed")


def require_finite(**values: float | None) -> None:
    """Every given number must be finite; None (not given) passes."""
    for name, value in values.items():
        if value is not None and not _is_number(value):
            raise SignalError(f"{name} must be a finite number, not {value!r:.60}")


def _is_number(value: object) -> bool:
    """Whether it is a number that a 64-bit float can hold; a description may hold anything."""
    try:
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    except OverflowError:
        return False


def require_positive(**values: float | None) -> None:
    """Every given number must be finite and above zero; None (not given) passes."""
    require_finite(**values)
    for name, value in values.items():
        if value is not None and value <= 0:
            raise SignalError(f"{name} must be above 0, not {value}")


def require_sample_rate(sample_rate: object) -> None:
    """Samples a second are counted: 48000 is a sample rate, 48000.0 is none, as no file states it so."""
    if isinstance(sample_rate, bool) or not isinstance(sample_rate, numbers.Integral) or sample_rate < 1:
        raise SignalError(f"sample_rate must be a whole number above 0, such as 48000, not {sample_rate!r:.60}")


def require_within_full_scale(peak_dbfs: float, *, tolerance_db: float = 0.0) -> None:
    """The peak of what is played, in dB re digital full scale, must not exceed 0 by more than the tolerance."""
    require_finite(peak_dbfs=peak_dbfs)
    if peak_dbfs < LEAST_DRIVE_DBFS:
        raise SignalError(f"a peak of {peak_dbfs:g} dBFS is below {LEAST_DRIVE_DBFS:g} dBFS: nothing would be played")
    if peak_dbfs > max(tolerance_db, 1e-9):  # rounding of a level that was itself computed
        raise SignalError(f"the peak would be {peak_dbfs:+.2f} dB above digital full scale: lower the drive by as much")


def require_below_nyquist(frequency_hz: float, sample_rate: int, name: str) -> None:
    """`frequency_hz` must lie below half the sample rate."""
    if frequency_hz >= sample_rate / 2:
        raise SignalError(
            f"{name} = {frequency_hz:g} Hz is not below half the sample rate ({sample_rate / 2:g} Hz): "
            f"lower it or raise sample_rate"
        )
