"""What passes for a silence and what for tones: sines of known levels, each limit on either side of it."""

import math

import numpy as np
import pytest

from distort.errors import RecordingError
from distort.recording.quality.silent import _loudest_sound, _of_mains, _tone, require_silence
from distort.recording.quality.tonal import tonal_share

RATE = 24000
"""At which the octave about 8 kHz ends, at 11,220 Hz, just below half of it."""

TIME_S = np.arange(6 * RATE) / RATE
SLOW = 8000
"""For steady tones."""

MIDDLES_HZ = [10.0 ** (0.3 * index + 3.0) for index in range(-2, 4)]


def stepped(hz: float, db: float, *, from_s: float = 3.0, to_s: float = 4.0, quieter_to_s: float = 0.0) -> np.ndarray:
    """A sine in the middle of each octave from 250 Hz to 8 kHz, all alike, and one of `hz` that is `db` louder for a
    while, and in the beginning 3 dB weaker. An octave off a filter leaves 2.1^-4 of a sine, 27 dB less."""
    steady = sum(np.sin(2.0 * np.pi * one * TIME_S) for one in MIDDLES_HZ if abs(one - hz) > 1.0)
    gain = np.where((from_s <= TIME_S) & (to_s > TIME_S), 10.0 ** (db / 20.0), 1.0)
    gain = np.where(quieter_to_s > TIME_S, 10.0**-0.15, gain)
    return 1e-3 * (steady + gain * np.sin(2.0 * np.pi * hz * TIME_S))


@pytest.mark.parametrize("middle_hz", [MIDDLES_HZ[0], MIDDLES_HZ[2], MIDDLES_HZ[5]])
def test_a_sound_stands_15_decibels_out_of_its_octave_and_is_placed(middle_hz):
    """An eighth of a second, in which the filter fills, is known to 0.1 dB."""
    assert _loudest_sound(stepped(middle_hz, 14.4), RATE) is None
    at_s, found_hz, over_db = _loudest_sound(stepped(middle_hz, 15.6), RATE)
    assert at_s == 3.0
    assert found_hz == pytest.approx(middle_hz)
    assert over_db == pytest.approx(15.6, abs=0.2)


@pytest.mark.parametrize(("to_s", "found"), [(3.375, False), (3.5, True)])
def test_a_sound_lasts_half_a_second(to_s, found):
    assert (_loudest_sound(stepped(MIDDLES_HZ[2], 20.0, to_s=to_s), RATE) is not None) == found


def test_below_and_above_six_octaves_nothing_is_asked():
    """Nor about 126 Hz nor about 15.8 kHz, where a sample rate lets it."""
    assert _loudest_sound(stepped(10.0**2.1, 20.0), RATE) is None
    time_s = np.arange(2 * 48000) / 48000
    high = np.sin(2.0 * np.pi * 10.0**4.2 * time_s) * np.where((time_s > 0.5) & (time_s < 1.5), 0.01, 0.001)
    assert _loudest_sound(high + 1e-3 * np.random.default_rng(1).standard_normal(time_s.size), 48000) is None


def test_the_quietest_quarter_of_the_looks_is_the_rest():
    """47 looks of an eighth of a second, after the first: of 13 that are 3 dB weaker a quarter of all is one."""
    (_, _, over_db) = _loudest_sound(stepped(MIDDLES_HZ[2], 18.0, quieter_to_s=14 / 8.0), RATE)
    assert over_db == pytest.approx(21.0, abs=0.2)
    (_, _, over_db) = _loudest_sound(stepped(MIDDLES_HZ[2], 18.0, quieter_to_s=12 / 8.0), RATE)
    assert over_db == pytest.approx(18.0, abs=0.2)


def test_of_several_octaves_the_loudest_is_named():
    samples = stepped(MIDDLES_HZ[1], 17.0, from_s=1.0, to_s=2.0) + stepped(MIDDLES_HZ[4], 22.0, from_s=4.5, to_s=5.5)
    at_s, middle_hz, over_db = _loudest_sound(samples, RATE)
    assert (at_s, round(middle_hz)) == (4.5, 3981)
    # in the sum the octave's own sine comes twice, half of it louder: the mean of its amplitudes
    assert over_db == pytest.approx(20.0 * math.log10(0.5 + 0.5 * 10.0 ** (22.0 / 20.0)), abs=0.2)


def test_five_seconds_are_a_silence_and_less_are_none():
    quiet = 1e-4 * np.random.default_rng(1).standard_normal(5 * RATE)
    require_silence(quiet, RATE, what="off.wav")
    with pytest.raises(RecordingError, match=r"lasts 5\.0 s: record 5 s"):
        require_silence(quiet[:-1], RATE, what="off.wav")
    for equal, refused in ((1000, False), (1001, True)):
        held = quiet.copy()
        held[9000 : 9000 + equal] = 3e-5
        if refused:
            with pytest.raises(RecordingError, match="digital zeros"):
                require_silence(held, RATE, what="off.wav")
        else:
            require_silence(held, RATE, what="off.wav")


# --- steady tones -----------------------------------------------------------------------------------------------------

A_WEIGHTING_DB = {1000.0: 0.0, 250.0: -8.67, 600.0: -2.21}
"""IEC 61672-1 at exact frequencies; at 250 and 600 Hz between the tabulated 251.2 and 631 Hz, by its formula."""


def with_tone(hz: float, over_db: float) -> np.ndarray:
    """White noise and a sine, A-weighted so many dB over the noise, whose weighted power is the mean of the weighting
    over all frequencies (IEC 61672-1, formula, from memory)."""
    f = np.arange(1.0, SLOW / 2.0)
    weight = (
        12194.0**2 * f**4 / ((f**2 + 20.6**2) * np.sqrt((f**2 + 107.7**2) * (f**2 + 737.9**2)) * (f**2 + 12194.0**2))
    ) ** 2 * 10.0**0.2
    noise = 1e-3 * np.random.default_rng(1).standard_normal(20 * SLOW)
    rest = float(np.var(noise) * np.mean(weight))
    power = rest * 10.0 ** ((over_db - A_WEIGHTING_DB[hz]) / 10.0)
    return noise + math.sqrt(2.0 * power) * np.sin(2.0 * np.pi * hz * np.arange(noise.size) / SLOW)


@pytest.mark.parametrize(("hz", "limit_db"), [(1000.0, 10.0), (250.0, 25.0)])
def test_a_tone_stands_10_decibels_out_of_a_silence_and_hum_25(hz, limit_db):
    """A-weighted. Of 20 s of noise the power is known to 0.02 dB; a window leaves 0.1 % of a tone beside it."""
    assert _tone(with_tone(hz, limit_db - 0.7), SLOW) is None
    assert _tone(with_tone(hz, limit_db + 0.9), SLOW) == pytest.approx(hz, abs=0.1)


def test_the_loudest_of_several_tones_is_named_as_it_is_heard():
    """A-weighted, 333 Hz counts 6 dB less than 1,010 Hz; neither is judged as hum. Noise alone has no tone."""
    noise = 1e-4 * np.random.default_rng(1).standard_normal(10 * SLOW)
    time_s = np.arange(noise.size) / SLOW
    low, high = np.sin(2.0 * np.pi * 333.0 * time_s), np.sin(2.0 * np.pi * 1010.0 * time_s)
    assert _tone(noise + 1.5e-2 * low + 1e-2 * high, SLOW) == pytest.approx(1010.0, abs=0.1)
    assert _tone(noise + 3e-2 * low + 1e-2 * high, SLOW) == pytest.approx(333.0, abs=0.1)
    assert _tone(noise, SLOW) is None


@pytest.mark.parametrize(
    ("hz", "mains"),
    [
        (50.0, True),
        (60.0, True),
        (550.0, True),
        (540.0, True),
        (600.0, True),
        (75.0, False),
        (650.0, False),
        (660.0, False),
        (20.0, False),
        (50.68, True),  # four thousandths and half a hertz
        (50.72, False),
        (49.32, True),
        (49.28, False),
        (502.48, True),
        (502.55, False),
        (497.55, True),
        (497.45, False),
    ],
)
def test_mains_are_ten_and_more_multiples_of_50_and_60_hz_up_to_600(hz, mains):
    assert _of_mains(hz) == mains


# --- made of tones ----------------------------------------------------------------------------------------------------


def blocks(tones_hz: list[float | None], *, rate: int = SLOW) -> np.ndarray:
    """A tenth of a second of noise each, 60 dB below a tone where there is one."""
    time_s = np.arange(rate // 10) / rate
    noise = 1e-3 * np.random.default_rng(1).standard_normal((len(tones_hz), time_s.size))
    tones = [0.0 * time_s if hz is None else np.sin(2.0 * np.pi * hz * time_s) for hz in tones_hz]
    return (noise + np.array(tones)).ravel()


@pytest.mark.parametrize(
    ("hz", "rate", "seen"),
    [
        (650.0, SLOW, False),
        (790.0, SLOW, True),
        (3300.0, SLOW, True),
        (3700.0, SLOW, False),  # beyond 0.45 of the sample rate
        (11500.0, 48000, True),
        (12500.0, 48000, False),
    ],
)
def test_tones_count_from_700_hz_to_12_khz(hz, rate, seen):
    """Not quite to the edges: of the outermost band, which stands for what lies beyond, a tone must be clear."""
    assert tonal_share(blocks([hz] * 3, rate=rate), rate) == float(seen)


def test_the_share_is_that_of_the_blocks():
    assert tonal_share(blocks([1000.0, None, 1200.0, None, None]), SLOW) == pytest.approx(0.4)
    assert tonal_share(blocks([1000.0, None])[:-1], SLOW) == 1.0  # what is no whole block does not count
    assert tonal_share(blocks([1000.0])[:-1], SLOW) == 0.0
    assert tonal_share(blocks([1000.0]), SLOW) == 1.0


@pytest.mark.parametrize(("count", "share"), [(499, 249 / 499), (500, 0.0), (1000, 0.5)])
def test_of_five_hundred_blocks_and_more_every_second_or_third_is_looked_at(count, share):
    """Every other block has a tone, the second first. Of a thousand blocks each third has one every other time."""
    expected = np.arange(count)[:: count // 500 + 1] % 2
    assert np.mean(expected) == pytest.approx(share)
    found = tonal_share(blocks([1000.0 if number % 2 else None for number in range(count)]), SLOW)
    assert found == pytest.approx(share)


def test_a_tone_is_held_against_two_octaves_to_either_side():
    """A plateau of two octaves less a band is the lesser part of four octaves and a band, and stands out; one that
    fills all of them but the lowest ones is their usual level, and does not."""
    rate, size = 48000, 4800
    window_free = np.zeros(size // 2 + 1)
    hz = np.arange(window_free.size) * 10.0
    for low_hz, high_hz, seen in ((1500.0, 5500.0, 1.0), (900.0, 14000.0, 0.0)):
        flat = np.where((hz >= low_hz) & (hz < high_hz), 1.0, 1e-3)
        pulse = np.roll(np.fft.irfft(flat, size), size // 2)
        assert tonal_share(np.tile(pulse, 2), rate) == seen
