"""What a frame told of a finding, in a sentence."""

from collections.abc import Mapping

from distort.analysis.frames.reading import LEAST_DB

LEAST_PART_DB = 0.1
"""A smaller part is not worth a word."""


def frame_sentence(numbers: Mapping[str, float]) -> str:
    """Begins with a blank; "" where no frame was near."""
    if "frame_hz" not in numbers:
        return ""
    parts = [
        f"{numbers[name]:.1f} dB {by}"
        for name, by in (
            ("frame_limiter_db", f"by a limiter{_times(numbers)}"),
            ("frame_instantaneous_db", "at once, in every cycle"),
            ("frame_heat_db", "by heat"),
        )
        if numbers.get(name, 0.0) >= LEAST_PART_DB
    ]
    if numbers["frame_loss_db"] < LEAST_DB:
        return (
            f" A short loud sine of {_hertz(numbers['frame_hz'])} between quiet ones lost "
            f"{numbers['frame_loss_db']:.1f} dB: what takes level here needs longer, as heat does."
        )
    return (
        f" A short loud sine of {_hertz(numbers['frame_hz'])} between quiet ones lost {numbers['frame_loss_db']:.1f} dB"
        f"{': ' if parts else ''}{', '.join(parts)}."
    )


def _times(numbers: Mapping[str, float]) -> str:
    """In brackets, as far as they are known."""
    known = [
        f"{name} {1000.0 * numbers[key]:.2g} ms"
        for name, key in (("attack", "frame_attack_s"), ("release", "frame_release_s"))
        if key in numbers
    ]
    return f" ({', '.join(known)})" if known else ""


def _hertz(frequency_hz: float) -> str:
    return f"{frequency_hz:.3g} Hz" if frequency_hz < 999.5 else f"{frequency_hz / 1000.0:.3g} kHz"
