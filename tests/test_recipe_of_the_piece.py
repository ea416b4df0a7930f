"""The piece of music against its recipe, event by event and harmonic by harmonic, and against its limits."""

import math

import numpy as np
import pytest

from signals import SignalError
from signals.programme import Programme, _bass, _chords, _drums, _since, _voice, _with_spectrum, loudest_db

RATE = 8000
TIME_S = np.arange(9 * RATE) / RATE
"""All four bars, half as many syllables again, and where it begins anew."""

LOOKED_AT = np.random.default_rng(3).integers(0, TIME_S.size, 60)

BARS = [
    (55.0, 220.0, 261.6, 329.6),
    (43.65, 174.6, 220.0, 261.6),
    (65.4, 196.0, 261.6, 329.6),
    (49.0, 196, 246.9, 293.7),
]
SUNG = [329.6, 293.7, 261.6, 246.9, 220.0, 261.6, 293.7, 329.6]
VOWELS = [(700.0, 1100.0, 2600.0), (350.0, 2000.0, 2800.0)]


def age(at_s: float, every_s: float, first_s: float = 0.0) -> float:
    """Since the last of the events `first_s`, `first_s + every_s`, ...; infinite before the first."""
    return at_s - max((first_s + n * every_s for n in range(80) if first_s + n * every_s <= at_s), default=-math.inf)


def swell(share: float) -> float:
    return math.sin(0.5 * math.pi * min(share, 1.0)) ** 2


def plucked(at_s: float) -> float:
    """Half of the note, its harmonics as 1 / n, gone by e in 0.35 s."""
    note_hz = BARS[int(at_s // 2.0) % 4][0]
    waves = [math.sin(2.0 * math.pi * n * note_hz * at_s) / n for n in range(1, 13)]
    return 0.5 * math.exp(-age(at_s, 0.5) / 0.35) * sum(waves)


def held_notes(at_s: float) -> float:
    notes_hz = BARS[int(at_s // 2.0) % 4][1:]
    waves = [
        math.sin(2.0 * math.pi * n * note_hz * at_s + number) / (n * math.sqrt(n))
        for number, note_hz in enumerate(notes_hz)
        for n in range(1, 11)
    ]
    return 0.15 * swell(age(at_s, 2.0) / 0.3) * sum(waves)


def sung(at_s: float) -> float:
    note_hz, formants_hz = SUNG[int(at_s) % 8], VOWELS[int(2.0 * at_s) % 2]
    since_s = age(at_s, 1.0)
    # the phase of a frequency that swings by 1 % as the cosine of 5.5 Hz
    turns = note_hz * (since_s + 0.01 * math.sin(2.0 * math.pi * 5.5 * since_s) / (2.0 * math.pi * 5.5))
    waves = [
        sum(1.0 / (1.0 + ((n * note_hz - formant_hz) / 120.0) ** 2) for formant_hz in formants_hz)
        * math.sin(2.0 * math.pi * n * turns)
        for n in range(1, 25)
    ]
    syllable_s = age(at_s, 0.25)
    return 0.6 * swell(syllable_s / 0.04) * math.exp(-syllable_s / 0.2) * sum(waves)


@pytest.mark.parametrize(("played", "recipe"), [(_bass, plucked), (_chords, held_notes), (_voice, sung)])
def test_a_part_is_the_sum_of_its_harmonics_at_sixty_moments(played, recipe):
    np.testing.assert_allclose(played(TIME_S)[LOOKED_AT], [recipe(TIME_S[one]) for one in LOOKED_AT], atol=1e-9)


def test_drums_fall_on_their_beats_and_die_away():
    """The bass drum's phase is the integral of `50 + 100 exp(-t / 30 ms)` Hz, one whole turn added or not; noise comes
    from the generator of seed 1, for the snare and then for the hi-hat, which has the differences of its samples."""
    noise = np.random.default_rng(1).standard_normal((2, TIME_S.size))
    expected = []
    for one in LOOKED_AT:
        kick_s, snare_s, hat_s = age(TIME_S[one], 1.0), age(TIME_S[one], 1.0, 0.5), age(TIME_S[one], 0.25)
        turns = 50.0 * kick_s + 100.0 * 0.03 * (1.0 - math.exp(-kick_s / 0.03))
        kick = 1.6 * math.exp(-kick_s / 0.12) * math.sin(2.0 * math.pi * turns)
        snare = math.sin(2.0 * math.pi * 190.0 * TIME_S[one]) + 0.5 * noise[0, one]
        hat = noise[1, one] - noise[1, one - 1]
        expected.append(kick + 0.8 * math.exp(-snare_s / 0.06) * snare + 0.15 * math.exp(-hat_s / 0.02) * hat)
    np.testing.assert_allclose(_drums(TIME_S)[LOOKED_AT], expected, atol=1e-9)


def test_the_first_sample_of_a_hi_hat_is_its_first_difference_from_nothing():
    """At the beginning the bass drum's sine and the snare are at rest: what sounds is the noise's first value."""
    first = np.random.default_rng(1).standard_normal((2, 100))[1, 0]
    assert _drums(np.arange(100) / RATE)[0] == pytest.approx(0.15 * first, abs=1e-12)


def test_an_event_begins_at_its_own_moment():
    assert _since(np.array([0.5, 0.75, 1.0]), every_s=0.5, first_s=0.5).tolist() == [0.0, 0.25, 0.0]
    assert _since(np.array([0.0, 0.75]), every_s=0.5).tolist() == [0.0, 0.25]


def test_the_piece_is_its_parts_through_the_filter_faded_at_both_ends():
    """But for one factor; a raised cosine of 20 ms at either end, half way up after 10 ms, 0 at the last sample."""
    piece = Programme(seconds=2.25, sample_rate=RATE, lowest_hz=60.0)
    time_s = np.arange(piece.n_samples) / RATE
    parts = _drums(time_s) + _bass(time_s) + _chords(time_s) + _voice(time_s)
    fade = np.array([swell(n / 160.0) for n in range(161)])
    parts = _with_spectrum(parts, RATE, 60.0, 0.4 * RATE)
    parts[:161] *= fade
    parts[-161:] *= fade[::-1]
    parts *= 0.01 * math.sqrt(0.5) / math.sqrt(np.mean(parts**2))
    assert piece.n_samples == 18000
    np.testing.assert_allclose(piece.samples(), parts, atol=1e-12)


def gain_at(
    hz: int, *, lowest_hz: float = 40.0, highest_hz: float = 3200.0, spectrum: np.ndarray | None = None
) -> float:
    """What the filter does at a whole frequency to a sound of one second with this spectrum, an even one if none."""
    even = np.ones(RATE // 2 + 1) if spectrum is None else spectrum
    shaped = _with_spectrum(np.fft.irfft(even, RATE), RATE, lowest_hz, highest_hz)
    return float(np.abs(np.fft.rfft(shaped))[hz])


def bins_of_third(middle_hz: float) -> int:
    """Whole frequencies between the edges of a third octave, 10^0.05 off its middle."""
    return sum(middle_hz / 10.0**0.05 <= hz < middle_hz * 10.0**0.05 for hz in range(4001))


@pytest.mark.parametrize(("hz", "wanted_db"), [(100, 0.0), (1000, -3.0), (0, None), (4000, None)])
def test_a_third_octave_is_brought_to_the_spectrum_that_is_wanted(hz, wanted_db):
    """Of an even spectrum it holds as many ones as bins; what is wanted falls by 3 dB from 500 to 1,000 Hz."""
    expected = 0.0 if wanted_db is None else 10.0 ** (wanted_db / 20.0) / math.sqrt(bins_of_third(hz))
    assert gain_at(hz) == pytest.approx(expected, abs=1e-12)


def test_between_two_third_octaves_the_gain_is_straight_in_decibels_over_the_logarithm_of_frequency():
    low_hz, high_hz = 10.0**3.0, 10.0**3.1
    low_db, high_db = (-3.0 * math.log2(f / 500.0) - 10.0 * math.log10(bins_of_third(f)) for f in (low_hz, high_hz))
    for hz in (1040, 1122, 1200):
        share = (math.log10(hz) - 3.0) / 0.1
        expected_db = low_db + share * (high_db - low_db)
        assert 20.0 * math.log10(gain_at(hz)) == pytest.approx(expected_db, abs=1e-6)


def test_the_lowest_third_octave_comes_in_below_the_lowest_frequency():
    """From 40 Hz: a raised cosine over the logarithm of frequency from 31.8 Hz on. The gain of the lowest third octave,
    10^1.6 Hz, holds below its middle."""
    below = 1.0 / math.sqrt(bins_of_third(10.0**1.6))
    third = math.log(10.0**0.1)
    for hz in (36, 33):
        assert gain_at(hz) == pytest.approx(swell(math.log(hz / 40.0 * 10**0.1) / third) * below, abs=1e-9)
    assert gain_at(31) == pytest.approx(0.0, abs=1e-12)
    # from there on to the middle of the next third octave the gain falls as its width grows
    share = math.log(40.0 / 10.0**1.6) / third
    expected = below ** (1.0 - share) / math.sqrt(bins_of_third(10.0**1.7)) ** share
    assert gain_at(40) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("hz", "share"), [(2700, math.log(3200.0 / 2700.0) / math.log(10**0.1)), (2541, 1.0), (3300, 0.0)]
)
def test_the_highest_third_octave_fades_up_to_the_highest_frequency(hz, share):
    whole = gain_at(hz, highest_hz=3990.0 if hz > 3000 else 3900.0)
    assert gain_at(hz) == pytest.approx(swell(share) * whole, abs=1e-9)


def test_a_third_octave_that_holds_nothing_is_not_blown_up():
    """Its power counts as a thousand-millionth of the strongest third octave's: 90 dB, and no more."""
    spectrum = np.ones(RATE // 2 + 1)
    spectrum[90:113] = 1e-9
    loudest = bins_of_third(10.0**3.5)  # the next one is cut at half the sample rate
    expected = 1e-9 / math.sqrt(1e-9 * loudest)
    assert gain_at(100, spectrum=spectrum, highest_hz=3990.0) == pytest.approx(expected, rel=1e-6)


def test_the_numbers_of_a_piece_are_those_of_its_samples():
    """Peak re full scale; crest factor over that of a sine, whose r.m.s. is sqrt(1/2) of its peak (AES17)."""
    piece = Programme(seconds=2.0, sample_rate=RATE, drive_dbfs=-25.0)
    samples = piece.samples()
    peak, rms = np.max(np.abs(samples)), math.sqrt(np.mean(samples**2))
    assert piece.peak_dbfs == pytest.approx(20.0 * math.log10(peak))
    assert piece.crest_db == pytest.approx(20.0 * math.log10(peak / rms / math.sqrt(2.0)))
    assert piece.loudest_db == pytest.approx(loudest_db(samples, RATE))
    assert (piece.begins_hz, Programme(lowest_hz=70.0).begins_hz) == (40.0, 70.0)
    assert (piece.highest_hz, Programme(sample_rate=48000).highest_hz) == (3200.0, 16000.0)
    unless_told = Programme()
    assert (unless_told.seconds, unless_told.sample_rate, unless_told.drive_dbfs) == (8.0, 48000, -40.0)


@pytest.mark.parametrize(("lowest_hz", "may"), [(800.0, True), (801.0, False)])
def test_two_octaves_of_a_piece_are_left_at_least(lowest_hz, may):
    """It ends at 0.4 of 8 kHz, 3,200 Hz."""
    given = {"seconds": 2.0, "sample_rate": RATE, "lowest_hz": lowest_hz}
    if may:
        assert Programme(**given).begins_hz == lowest_hz
    else:
        with pytest.raises(SignalError, match="leaves nothing"):
            Programme(**given)


def test_a_loudest_stretch_may_lie_at_either_end_and_be_all_there_is():
    """1,000 samples of 2 among 7,000 of 1, by hand: 4 over 11 / 8; a piece shorter than an eighth of a second whole."""
    for at in (0, 3000, 7000):
        played = np.ones(8000)
        played[at : at + 1000] = 2.0
        assert loudest_db(played, RATE) == pytest.approx(10.0 * math.log10(4.0 / (11.0 / 8.0)))
    assert loudest_db(np.array([1.0, -3.0, 2.0]), RATE) == pytest.approx(0.0)
