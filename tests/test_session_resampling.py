"""The resampler against tones whose samples at either rate are known in closed form."""

import numpy as np
import pytest

from distort.errors import RecordingError
from distort.session.audio.audio_file import resample

RATES = [(44100, 48000), (48000, 44100), (96000, 48000), (48000, 96000), (192000, 44100), (44100, 192000)]

SHARES_OF_LOWER = (0.001, 0.05, 0.2, 0.35, 0.44, 0.45)

PHASE_RAD = 0.3


def tone(frequency_hz: float, rate: int, count: int) -> np.ndarray:
    return np.sin(2 * np.pi * frequency_hz * np.arange(count) / rate + PHASE_RAD)


def middle(values: np.ndarray) -> np.ndarray:
    """Without the ends, where the filter still reaches into the silence outside."""
    return values[values.size // 4 : 3 * values.size // 4]


@pytest.mark.parametrize(("from_rate", "to_rate"), RATES)
def test_a_tone_keeps_its_level_and_its_moment_and_gains_no_image(from_rate: int, to_rate: int) -> None:
    """`sin(2 pi f k / to_rate + phase)` is what a perfect converter gives.

    0.001 dB of level is 1.15e-4 of amplitude. All that is not the tone itself, images and aliases, is below -120 dB.
    """
    for share in SHARES_OF_LOWER:
        frequency_hz = share * min(from_rate, to_rate)
        got = resample(tone(frequency_hz, from_rate, from_rate // 2), from_rate=from_rate, to_rate=to_rate)
        angle = 2 * np.pi * frequency_hz * np.arange(got.size) / to_rate + PHASE_RAD
        basis = np.column_stack([middle(np.sin(angle)), middle(np.cos(angle))])
        (in_phase, quadrature), *_ = np.linalg.lstsq(basis, middle(got), rcond=None)
        level_db = 20 * np.log10(np.hypot(in_phase, quadrature))
        rest_db = 10 * np.log10(2 * np.mean((middle(got) - basis @ [in_phase, quadrature]) ** 2))
        assert abs(level_db) < 1e-4, share  # a tenth of the 0.001 dB that is promised
        assert abs(quadrature) < 1e-6, share  # radians: 2e-10 s at 1 kHz, so no shift at all
        assert rest_db < -120, share


@pytest.mark.parametrize(("from_rate", "to_rate"), [pair for pair in RATES if pair[0] > pair[1]])
@pytest.mark.parametrize("share", [0.5, 0.52, 0.7, 0.95])
def test_what_the_lower_rate_cannot_hold_is_gone(from_rate: int, to_rate: int, share: float) -> None:
    frequency_hz = share * to_rate
    if frequency_hz >= 0.5 * from_rate:
        frequency_hz = 0.5 * (to_rate / 2 + from_rate / 2)
    got = resample(tone(frequency_hz, from_rate, from_rate // 2), from_rate=from_rate, to_rate=to_rate)
    assert 10 * np.log10(2 * np.mean(middle(got) ** 2)) < -120


@pytest.mark.parametrize(("from_rate", "to_rate"), RATES)
@pytest.mark.parametrize("count", [1, 2, 147, 1000, 4801])
def test_length(from_rate: int, to_rate: int, count: int) -> None:
    expected = -(-count * to_rate // from_rate)  # rounded up: the last sample's moment is still covered
    assert resample(np.ones(count), from_rate=from_rate, to_rate=to_rate).size == expected


def test_a_pulse_stays_at_its_moment() -> None:
    """Second 0.1 is sample 4410 at one rate and 4800 at the other."""
    pulse = np.zeros(8820)
    pulse[4410] = 1.0
    got = resample(pulse, from_rate=44100, to_rate=48000)
    assert int(np.argmax(got)) == 4800
    assert np.allclose(got[4800 - 500 : 4800], got[4801 : 4801 + 500][::-1], atol=1e-12)  # symmetric up to rounding


def test_equal_rates_give_the_samples_themselves_and_nothing_of_the_caller_changes() -> None:
    mine = np.linspace(-1, 1, 100)
    assert resample(mine, from_rate=48000, to_rate=48000) is mine  # an hour of samples is not held twice
    resample(mine, from_rate=48000, to_rate=44100)
    assert np.array_equal(mine, np.linspace(-1, 1, 100))


def test_repeated_use_of_the_kept_filter_changes_nothing() -> None:
    first = resample(tone(1000, 44100, 4410), from_rate=44100, to_rate=48000)
    assert np.array_equal(first, resample(tone(1000, 44100, 4410), from_rate=44100, to_rate=48000))


@pytest.mark.parametrize(("from_rate", "to_rate"), [(0, 48000), (48000, -1), (48000, 191_999), (700_001, 48000)])
def test_rates_that_are_none(from_rate: int, to_rate: int) -> None:
    with pytest.raises(RecordingError, match=r"sample rates|is the rate in the file right"):
        resample(np.ones(10), from_rate=from_rate, to_rate=to_rate)
