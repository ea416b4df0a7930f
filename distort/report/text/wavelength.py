"""What `distort wavelength` says: lengths for a frequency, frequencies for a length, and what to tape."""

from collections.abc import Iterator

from distort.analysis.common.sound_in_air import delayed_copy_dips_hz, half_wave, quarter_wave, speed_of_sound_m_s
from distort.report.text.numbers import three_digits

TAPE = (
    "What to tape. Reflection: (loudspeaker to surface to microphone) less (loudspeaker to microphone) = the length. "
    "Wall straight behind: its distance is half the length, because the sound goes there and back. "
    "Tube, gap or cavity: its depth."
)
AS_HALF = "as half wave:   "
AS_QUARTER = "as quarter wave:"


def frequency_sentences(frequency_hz: float, temperature_c: float) -> Iterator[str]:
    """Lengths that belong to `frequency_hz`. Raises ValueError as `distort.analysis.common.sound_in_air` does."""
    half_m, quarter_m = half_wave(frequency_hz, temperature_c), quarter_wave(frequency_hz, temperature_c)
    yield from _speed_sentences(temperature_c)
    at = hertz_text(frequency_hz)
    yield f"{at} {AS_HALF} {length_text(half_m)} (reflection, gap open at both ends)"
    yield f"{at} {AS_QUARTER} {length_text(quarter_m)} (cavity closed at one end)"
    yield ""
    yield (
        f"{at} as a half wave and {hertz_text(frequency_hz / 2)} as a quarter wave are the same path, "
        f"{length_text(half_m)}; {at} as a quarter wave and {hertz_text(2 * frequency_hz)} as a half wave are, too, "
        f"{length_text(quarter_m)}."
    )
    yield from _dip_sentences(half_m, temperature_c)


def length_sentences(length_m: float, temperature_c: float) -> Iterator[str]:
    """Frequencies that belong to `length_m`. Raises ValueError as `distort.analysis.common.sound_in_air` does."""
    half_hz, quarter_hz = half_wave(length_m, temperature_c), quarter_wave(length_m, temperature_c)
    yield from _speed_sentences(temperature_c)
    at = length_text(length_m)
    yield f"{at} {AS_HALF} {hertz_text(half_hz)} (reflection, gap open at both ends)"
    yield f"{at} {AS_QUARTER} {hertz_text(quarter_hz)} (cavity closed at one end)"
    yield ""
    yield f"{hertz_text(half_hz)} as a half wave and {hertz_text(quarter_hz)} as a quarter wave are the same path."
    yield from _dip_sentences(length_m, temperature_c)


def length_text(length_m: float) -> str:
    """A length as a tape shows it: 7.15 cm, 14.3 cm, 1.43 m; below 1 cm in mm."""
    for factor, unit in ((1e3, "mm"), (1e2, "cm")):
        if length_m * factor < (9.995 if unit == "mm" else 99.95):
            return f"{three_digits(length_m * factor)} {unit}"
    return f"{three_digits(length_m)} m"


def hertz_text(frequency_hz: float) -> str:
    """A frequency in Hz, three digits that count: 1200 Hz, 85.8 Hz, 0.143 Hz."""
    return f"{three_digits(frequency_hz)} Hz"


def _speed_sentences(temperature_c: float) -> Iterator[str]:
    yield f"Sound travels {speed_of_sound_m_s(temperature_c):.1f} m/s at {temperature_c:g} degC."
    yield ""


def _dip_sentences(path_m: float, temperature_c: float) -> Iterator[str]:
    dips = ", ".join(hertz_text(dip) for dip in delayed_copy_dips_hz(path_m, temperature_c))
    yield (
        f"A copy of the sound that comes {length_text(path_m)} later makes dips at {dips} ..., peaks half way between."
    )
    yield TAPE
