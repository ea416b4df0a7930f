"""What `distort wavelength` says: lengths for a frequency, frequencies for a length, and what to tape."""

from rich.console import Console

from distort.analysis.common.sound_in_air import delayed_copy_dips_hz, half_wave, quarter_wave, speed_of_sound_m_s
from distort.report.text.console import say
from distort.report.text.numbers import three_digits

TAPE = (
    "What to tape. Reflection: (loudspeaker to surface to microphone) less (loudspeaker to microphone) = the length. "
    "Wall straight behind: its distance is half the length, because the sound goes there and back. "
    "Tube, gap or cavity: its depth."
)
AS_HALF = "as half wave:   "
AS_QUARTER = "as quarter wave:"


def print_for_frequency(console: Console, frequency_hz: float, temperature_c: float) -> None:
    """Lengths that belong to `frequency_hz`. Raises ValueError as `distort.analysis.common.sound_in_air` does."""
    half_m, quarter_m = half_wave(frequency_hz, temperature_c), quarter_wave(frequency_hz, temperature_c)
    _say_speed(console, temperature_c)
    at = hertz_text(frequency_hz)
    console.print(f"{at} {AS_HALF} {length_text(half_m)} (reflection, gap open at both ends)")
    console.print(f"{at} {AS_QUARTER} {length_text(quarter_m)} (cavity closed at one end)")
    console.print()
    say(
        console,
        f"{at} as a half wave and {hertz_text(frequency_hz / 2)} as a quarter wave are the same path, "
        f"{length_text(half_m)}; {at} as a quarter wave and {hertz_text(2 * frequency_hz)} as a half wave are, too, "
        f"{length_text(quarter_m)}.",
    )
    _say_dips(console, half_m, temperature_c)


def print_for_length(console: Console, length_m: float, temperature_c: float) -> None:
    """Frequencies that belong to `length_m`. Raises ValueError as `distort.analysis.common.sound_in_air` does."""
    half_hz, quarter_hz = half_wave(length_m, temperature_c), quarter_wave(length_m, temperature_c)
    _say_speed(console, temperature_c)
    at = length_text(length_m)
    console.print(f"{at} {AS_HALF} {hertz_text(half_hz)} (reflection, gap open at both ends)")
    console.print(f"{at} {AS_QUARTER} {hertz_text(quarter_hz)} (cavity closed at one end)")
    console.print()
    say(
        console,
        f"{hertz_text(half_hz)} as a half wave and {hertz_text(quarter_hz)} as a quarter wave are the same path.",
    )
    _say_dips(console, length_m, temperature_c)


def length_text(length_m: float) -> str:
    """A length as a tape shows it: 7.15 cm, 14.3 cm, 1.43 m; below 1 cm in mm."""
    for factor, unit in ((1e3, "mm"), (1e2, "cm")):
        if length_m * factor < (9.995 if unit == "mm" else 99.95):
            return f"{three_digits(length_m * factor)} {unit}"
    return f"{three_digits(length_m)} m"


def hertz_text(frequency_hz: float) -> str:
    """A frequency in Hz, three digits that count: 1200 Hz, 85.8 Hz, 0.143 Hz."""
    return f"{three_digits(frequency_hz)} Hz"


def _say_speed(console: Console, temperature_c: float) -> None:
    say(console, f"Sound travels {speed_of_sound_m_s(temperature_c):.1f} m/s at {temperature_c:g} degC.")
    console.print()


def _say_dips(console: Console, path_m: float, temperature_c: float) -> None:
    dips = ", ".join(hertz_text(dip) for dip in delayed_copy_dips_hz(path_m, temperature_c))
    say(
        console,
        f"A copy of the sound that comes {length_text(path_m)} later makes dips at {dips} ..., peaks half way between.",
        TAPE,
    )
