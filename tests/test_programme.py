"""Music through devices whose answer is known: nothing, a filter, a limiter, added noise, a squared part."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from distort.analysis.common.operating_limit import Limits
from distort.analysis.level_limits import passed_by
from distort.analysis.programme import ProgrammeLevel, ProgrammeTake, against_quiet, most_of_moments_db
from signals import SignalError
from signals.burst import third_octaves_hz
from signals.levels import FULL_SCALE_SINE_RMS, power_to_db
from signals.programme import FALL_DB_AN_OCTAVE, LEVEL_UP_TO_HZ, Programme

RATE = 16000
PIECE = Programme(sample_rate=RATE, drive_dbfs=-40.0)
BANDS_HZ = np.array(third_octaves_hz(45.0, 5600.0))
NOISE = 1e-7
UNKNOWN = np.full(BANDS_HZ.size, np.nan)
UP = 10.0
"""The loud recording's drive over that of the quiet one, as a factor."""


def take(played: np.ndarray, *, seed: int, start: float = 2.0 * RATE + 100.37, noise: float = NOISE) -> ProgrammeTake:
    """`played` arriving at `start`, by the shift theorem, in white noise."""
    n = int(start) + played.size + 3 * RATE
    placed = np.zeros(n)
    placed[int(start) : int(start) + played.size] = played
    spectrum = np.fft.rfft(placed) * np.exp(-2j * np.pi * np.fft.rfftfreq(n) * (start % 1.0))
    samples = np.fft.irfft(spectrum, n) + noise * np.random.default_rng(seed).standard_normal(n)
    return ProgrammeTake(samples=samples, start=start, silences=(samples[: 2 * RATE - 1000], samples[-2 * RATE :]))


QUIET = take(PIECE.samples(), seed=1)


def said(heard: np.ndarray, **given) -> ProgrammeLevel:
    """Of a loud recording that holds `heard`."""
    loud = take(heard, seed=2, start=2.0 * RATE + 50.8, **given)
    power = against_quiet(QUIET, [loud], n_samples=PIECE.n_samples, sample_rate=RATE, bands_hz=BANDS_HZ)
    return ProgrammeLevel(
        level_db_spl=96.0,
        change_db=power_to_db(power["left"] / power["quiet"]) - 20.0 * np.log10(UP),
        coherence=power["left"] / (power["left"] + power["added"] + power["noise"]),
        remainder_db=power_to_db(power["added"] / power["left"]),
        floor_db=power_to_db(power["noise"] / power["left"]),
        excitation_db=UNKNOWN,
        schroeder_db=UNKNOWN,
    )


def bands_db(sound: np.ndarray) -> np.ndarray:
    """Level of each third octave, by the plain spectrum."""
    power = np.square(np.abs(np.fft.rfft(sound)))
    frequency_hz = np.fft.rfftfreq(sound.size, 1.0 / RATE)
    edge = 10.0**0.05
    return power_to_db([np.sum(power[(frequency_hz >= f / edge) & (frequency_hz < f * edge)]) for f in BANDS_HZ])


def test_the_piece_has_the_level_spectrum_and_peaks_of_music() -> None:
    """AES17: the r.m.s. of a sine of -40 dBFS. Between hits and rests its peaks stand as far above as music's do."""
    samples = PIECE.samples()
    assert samples.size == PIECE.n_samples == 8 * RATE
    assert np.sqrt(np.mean(np.square(samples))) == pytest.approx(0.01 * FULL_SCALE_SINE_RMS, rel=1e-12)
    assert 11.0 < PIECE.crest_db < 14.0
    wanted_db = -FALL_DB_AN_OCTAVE * np.maximum(np.log2(BANDS_HZ / LEVEL_UP_TO_HZ), 0.0)
    away_db = bands_db(samples) - wanted_db
    inside = (BANDS_HZ > 60.0) & (BANDS_HZ < 4500.0)
    # the filter is smooth from third octave to third octave, where the music's tones are not
    assert np.max(np.abs(away_db - np.mean(away_db[inside]))[inside]) < 4.0
    np.testing.assert_array_equal(Programme(sample_rate=RATE).samples(), Programme(sample_rate=RATE).samples())


@pytest.mark.parametrize(("lowest_hz", "seconds"), [(None, 2.0), (120.0, 2.2), (500.0, 2.0), (1600.0, 2.5)])
def test_a_drive_whose_peaks_would_pass_full_scale_is_refused_wherever_the_piece_begins(lowest_hz, seconds) -> None:
    """Without its bass the hits stand out of rests: the crest factor, found at a low drive, grows beyond 20 dB."""
    quiet = Programme(seconds=seconds, sample_rate=RATE, drive_dbfs=-40.0, lowest_hz=lowest_hz)
    with pytest.raises(SignalError, match="lower its drive"):
        replace(quiet, drive_dbfs=0.1 - quiet.crest_db)
    assert -0.11 < replace(quiet, drive_dbfs=-0.1 - quiet.crest_db).peak_dbfs < -0.09


def test_nothing_is_played_below_lowest_hz() -> None:
    protected = replace(PIECE, lowest_hz=200.0)
    power = np.square(np.abs(np.fft.rfft(protected.samples())))
    frequency_hz = np.fft.rfftfreq(PIECE.n_samples, 1.0 / RATE)
    # what is left there is what the ends, faded within 20 ms, spread of the tones above
    assert np.sum(power[frequency_hz < 100.0]) < 1e-7 * np.sum(power)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"seconds": 1.0}, "shorter than a bar"),
        ({"drive_dbfs": -5.0}, "lower its drive"),
        ({"lowest_hz": 8000.0}, "leaves nothing"),
    ],
)
def test_what_is_no_piece_is_refused(fields, why) -> None:
    with pytest.raises(SignalError, match=why):
        Programme(**fields)


def holds(level: ProgrammeLevel) -> bool:
    passed = passed_by(level.judgeable(BANDS_HZ), Limits())
    assert passed is not None
    return not passed


def test_a_wire_changes_nothing() -> None:
    """With a delay of another fraction of a sample. What is found lies at the noise."""
    found = said(UP * PIECE.samples())
    np.testing.assert_allclose(found.change_db, 0.0, atol=0.003)
    assert np.all(found.doubtful)
    assert np.all(found.coherence > 0.9999)
    assert holds(found)


def test_a_filter_is_change_and_nothing_added() -> None:
    """Its own frequency response says how much, weighted by the music's power: scipy's sosfreqz."""
    sos = scipy.signal.butter(2, 800.0, "high", fs=RATE, output="sos")
    found = said(UP * scipy.signal.sosfilt(sos, PIECE.samples()))
    power = np.square(np.abs(np.fft.rfft(PIECE.samples())))
    frequency_hz = np.fft.rfftfreq(PIECE.n_samples, 1.0 / RATE)
    _, gain = scipy.signal.sosfreqz(sos, frequency_hz, fs=RATE)
    for row, middle_hz in enumerate(BANDS_HZ):
        inside = (frequency_hz >= middle_hz / 10**0.05) & (frequency_hz < middle_hz * 10**0.05)
        expected_db = power_to_db(np.sum(np.square(np.abs(gain[inside])) * power[inside]) / np.sum(power[inside]))
        assert found.change_db[row] == pytest.approx(expected_db, abs=0.1)  # the cut is longer than the music by 0.16 s
    # H is straight between the middles of twelfths of an octave, which a slope of 12 dB an octave is not: 1e-3
    assert np.all(found.remainder_db < -45.0)
    assert not holds(found)


def test_added_noise_is_found_in_every_third_octave() -> None:
    """Within 0.5 dB, as long as it stands 10 dB above the floor."""
    added = 1e-3 * np.random.default_rng(5).standard_normal(PIECE.n_samples)
    found = said(UP * PIECE.samples() + added)
    expected_db = bands_db(added) - bands_db(UP * PIECE.samples())
    clear = expected_db > found.floor_db + 10.0
    assert np.sum(clear) > 18
    np.testing.assert_allclose(found.remainder_db[clear], expected_db[clear], atol=0.5)
    assert not np.any(found.doubtful[clear])


def test_a_squared_part_is_added_but_for_what_keeps_step_with_the_music() -> None:
    """Its third octaves by the plain spectrum; tones an octave apart sound together in music: up to 3 dB are lost."""
    piece = UP * PIECE.samples()
    added = 0.5 * (np.square(piece) - np.mean(np.square(piece)))
    found = said(piece + added)
    expected_db = bands_db(added) - bands_db(piece)
    error_db = found.remainder_db - expected_db
    assert np.all(error_db < 0.5)
    assert np.all(error_db > -3.5)
    assert abs(np.median(error_db)) < 1.0


def test_a_slow_gain_is_change_and_not_added() -> None:
    """A gain of half a hertz between 0 and -6 dB: its mean power over the music's is the change, by plain spectra."""
    time_s = np.arange(PIECE.n_samples) / RATE
    heard = UP * PIECE.samples() * 10.0 ** ((-3.0 + 3.0 * np.cos(np.pi * time_s)) / 20.0)
    found = said(heard)
    wide = BANDS_HZ > 400.0  # below, the window is longer than 0.15 s
    np.testing.assert_allclose(
        found.change_db[wide], (bands_db(heard) - bands_db(UP * PIECE.samples()))[wide], atol=0.1
    )
    # it moves by 4.7 dB a second at most, by 0.7 dB within the window: 8 %, of which the fit leaves less
    assert np.all(found.remainder_db[wide] < -22.0)
    assert not holds(found)


def test_without_a_silence_no_floor_is_known_and_no_band_counts() -> None:
    power = against_quiet(
        replace(QUIET, silences=()), [QUIET], n_samples=PIECE.n_samples, sample_rate=RATE, bands_hz=BANDS_HZ
    )
    assert np.all(np.isnan(power["noise"]))


def test_each_moment_has_the_power_that_sounds_in_it() -> None:
    """Noise of known power beside the music from 2 to 3 s: by sums over its own plain spectrum, and silence else. The
    gain follows the share p of the noise in each band, which is given back on the mean alone: 0.7 dB, and with that of
    the noise's own scatter over 1 s in bands of 60 Hz and more (0.6 dB) 1.5 dB."""
    added = np.zeros(PIECE.n_samples)
    second = slice(2 * RATE, 3 * RATE)
    added[second] = 1e-3 * np.random.default_rng(7).standard_normal(RATE)
    loud = take(UP * PIECE.samples() + added, seed=2)
    power = against_quiet(QUIET, [loud], n_samples=PIECE.n_samples, sample_rate=RATE, bands_hz=BANDS_HZ)
    wide = BANDS_HZ > 250.0
    assert power["added_then"].shape == power["left_then"].shape == (BANDS_HZ.size, 81)
    sounding, silent = power["added_then"][wide][:, 22:29], power["added_then"][wide][:, 40:]
    expected = 10.0 ** (0.1 * bands_db(added[second])) * 2.0 / RATE**2
    np.testing.assert_allclose(power_to_db(np.mean(sounding, axis=1) / expected[wide]), 0.0, atol=1.5)
    assert np.all(np.max(silent, axis=1) < 0.1 * np.mean(sounding, axis=1))
    # the mean over all moments is what the band holds: its last 0.06 s, of room, are no whole moment
    np.testing.assert_allclose(np.mean(power["left_then"], axis=1), power["left"], rtol=0.02)


def test_what_is_passed_in_a_twentieth_of_all_moments() -> None:
    """Of 100 margins the 95th from below; a moment in which noise hides it is less than any."""
    margins_db = np.stack([np.arange(100.0), np.where(np.arange(100) < 90, np.nan, 7.0), np.full(100, np.nan)])
    found_db = most_of_moments_db(margins_db)
    np.testing.assert_array_equal(found_db, [94.0, 7.0, np.nan])


def level(level_db_spl: float, *, change_db: float = 0.0, coherence: float = 1.0) -> ProgrammeLevel:
    one = np.ones(12)
    return ProgrammeLevel(
        level_db_spl=level_db_spl,
        change_db=change_db * one,
        coherence=coherence * one,
        remainder_db=-40.0 * one,
        floor_db=-60.0 * one,
        excitation_db=np.nan * one,
        schroeder_db=np.nan * one,
    )


def test_third_octaves_that_noise_hides_are_not_judged() -> None:
    """Noise 13 dB down leaves a coherence of 1 / (1 + 10^-1.3) = 0.952, 12.5 dB down 0.947: 0.95 is asked for."""
    one = replace(level(96.0), floor_db=np.where(np.arange(12) < 6, -13.0, -12.5))
    assert one.judgeable(np.arange(1.0, 13.0)).counts.tolist() == [True] * 6 + [False] * 6
    unknown = replace(one, floor_db=np.full(12, np.nan))
    assert not unknown.judgeable(np.arange(1.0, 13.0)).counts.any()
