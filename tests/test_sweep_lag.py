"""A limiter of known threshold, ratio, attack and release on one band: onset, words, and the sweep's lag through it.

Truth is the closed form of what the device does to a steady tone (`BandLimiter.steady_change_db`), its power meant over
the smoothing band. A 24 kHz sample rate holds the band and its neighbours, and keeps the detector's loop short.
"""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.compression.change import compression
from distort.analysis.compression.curves import LevelStep
from distort.analysis.compression.octaves import input_output
from distort.analysis.compression.operating_range import operating_ranges
from distort.analysis.compression.sweep_lag import bias_parts, needed_seconds, sweep_lag, sweep_lags
from distort.report.text.compression import onset_words
from signals import Sweep
from tests.devices.heated_coil import HeatedCoil
from tests.devices.ladder import FULL_SCALE_DB_SPL, HZ, flat_output, output_of, rung_at, smoothed_db, sweep_at
from tests.devices.limited import BandLimiter

RATE = 24000
READABLE = (HZ > 24.9) & (HZ < 9500.0)
THRESHOLD_DB_SPL = 93.2
BRICK_WALL = BandLimiter(threshold_dbfs=THRESHOLD_DB_SPL - FULL_SCALE_DB_SPL, ratio=1e6)
SOFT = BandLimiter(threshold_dbfs=THRESHOLD_DB_SPL - FULL_SCALE_DB_SPL, ratio=2.5)
KHZ = 5
"""Index of the octave at 1 kHz, in the middle of the limiter's band, from 31.6 Hz up."""


def ladder(device, levels, *, short=False):
    def answer(sweep: Sweep):
        return device.answer(sweep, silence_s=0.5)

    return compression(HZ, [rung_at(level, answer, short=short, sample_rate=RATE) for level in levels])


def ranges(found):
    return operating_ranges(input_output(found, lowest_valid_hz=25.0))


@pytest.fixture(scope="module")
def coarse():
    return {device: ladder(device, (76.0, 86.0, 96.0, 102.0), short=True) for device in (BRICK_WALL, SOFT)}


def test_the_device_holds_what_its_closed_form_says():
    """The share of a steady sine that the detector holds, against its loop on one second of 1 kHz at 96 kHz."""
    held = 0.0
    for power in np.square(np.sin(2 * np.pi * 1000.0 * np.arange(96000) / 96000.0)):
        time_s = BRICK_WALL.attack_s if power > held else BRICK_WALL.release_s
        held += -np.expm1(-1 / (time_s * 96000.0)) * (power - held)
    assert held == pytest.approx(BRICK_WALL.held_share(), abs=0.005)  # its ripple at 2 kHz, 0.02 dB


@pytest.mark.first(1)
@pytest.mark.parametrize(("device", "word"), [(BRICK_WALL, "limiting"), (SOFT, "gradual compression")])
def test_a_coarse_ladder_brackets_the_onset_and_names_the_band(coarse, device, word):
    bands = ranges(coarse[device])
    middle = bands[KHZ]
    assert middle.midband_hz == pytest.approx(1000.0)
    assert middle.words == ("reference", "linear", word, word)
    assert middle.word == word
    assert onset_words(middle.onset) == "between 86 and 96 dB"
    assert [bands[at].word for at in (0, 1, 2, 8)] == ["linear"] * 4  # 31.6, 63, 126 Hz and 7.9 kHz


@pytest.mark.parametrize("device", [BRICK_WALL, SOFT])
def test_bands_outside_are_untouched(coarse, device):
    """Two octaves off either edge the band's own filter has fallen by 48 dB: within 0.05 dB at every row."""
    outside = READABLE & ((HZ < 75.0) | (HZ > 6000.0))
    for level in coarse[device].levels:
        assert np.max(np.abs(level.change_db[outside])) < 0.005


@pytest.mark.parametrize("device", [BRICK_WALL, SOFT])
@pytest.mark.first(1)
@pytest.mark.parametrize("first_db_spl", [90.7, 90.0])
def test_a_fine_ladder_finds_the_onset(device, first_db_spl):
    """Rungs 1.5 dB apart: within 0.5 dB of the threshold, which a sine in the middle of the band meets at 93.2 dB."""
    middle = ranges(ladder(device, first_db_spl + 1.5 * np.arange(6)))[KHZ]
    assert middle.onset.level_db_spl == pytest.approx(THRESHOLD_DB_SPL, abs=0.3)
    assert middle.word == ("limiting" if device is BRICK_WALL else "gradual compression")


def lag_and_bias(device, found, level):
    """True lag (sweep less steady tone), the lag that is stated, and the plain bias, `(rows,)` each."""
    change = found.levels[level]
    steady = smoothed_db(lambda hz: device.steady_change_db(hz, drive_dbfs=change.drive_dbfs))
    return change.change_db - steady, bias_parts(HZ, change).lag_db, change.bias_db


@pytest.mark.parametrize("device", [BRICK_WALL, SOFT])
@pytest.mark.parametrize("level", [2, 3])
def test_the_lag_is_stated_within_a_tenth_of_a_decibel(coarse, device, level):
    """3 and 9 dB above the threshold, at every row, also where the limiter lets go and the plain bias overstates."""
    lag, stated, _ = lag_and_bias(device, coarse[device], level)
    assert np.max(np.abs(lag[READABLE])) > 0.05  # there is something to state
    assert np.max(np.abs(stated - lag)[READABLE]) < 0.1


@pytest.mark.parametrize("device", [BRICK_WALL, SOFT])
def test_the_bias_states_the_lag_on_slopes_and_overstates_it_at_bends(coarse, device):
    """9 dB above the threshold the short sweep outruns the release where the limiter lets go, about 3.5 kHz."""
    lag, _, bias = lag_and_bias(device, coarse[device], 3)
    letting_go = (HZ > 3100.0) & (HZ < 3900.0)
    assert np.max(np.abs(bias - lag)[READABLE & ~letting_go]) < 0.1
    assert np.max((np.abs(lag) - np.abs(bias))[letting_go]) < 0.1


@pytest.mark.study
def test_study_of_the_lag_through_other_limiters():
    """Largest true lag, and how far the statement and the plain bias miss it, for three pairs of time constants."""
    print("\nattack/release ms  ratio  level  largest lag  statement misses  bias misses")
    for attack_s, release_s in ((0.002, 0.03), (0.005, 0.1), (0.02, 0.3)):
        for ratio in (1e6, 2.5):
            device = BandLimiter(threshold_dbfs=-16.8, ratio=ratio, attack_s=attack_s, release_s=release_s)
            found = ladder(device, (76.0, 96.0, 102.0), short=True)
            for level in (1, 2):
                lag, stated, bias = lag_and_bias(device, found, level)
                miss, plain = (float(np.max(np.abs(one - lag)[READABLE])) for one in (stated, bias))
                name = f"{1000 * attack_s:g}/{1000 * release_s:g}"
                most = np.max(np.abs(lag[READABLE]))
                print(f"{name:>17}  {ratio:5g}  {(96, 102)[level - 1]:5}  {most:11.3f}  {miss:16.3f}  {plain:11.3f}")
                assert miss < max(0.1, 0.6 * plain)


@pytest.mark.first(1)
@pytest.mark.parametrize("device", [BRICK_WALL, SOFT])
def test_the_length_stated_brings_the_lag_under_a_tenth_of_a_decibel(coarse, device):
    worst = sweep_lags(HZ, coarse[device].levels, lowest_valid_hz=25.0, duration_s=10.0)[-1]
    assert worst.level_db_spl == 102.0
    assert 2500.0 < worst.frequency_hz < 3900.0
    assert 10.0 < worst.needed_s < 40.0
    changes = []
    for level in (76.0, 102.0):
        sweep = sweep_at(level, seconds=worst.needed_s, sample_rate=RATE)
        changes.append(output_of(device.answer(sweep, silence_s=0.5), sweep).gain_db)
    steady = smoothed_db(lambda hz: device.steady_change_db(hz, drive_dbfs=102.0 - FULL_SCALE_DB_SPL))
    assert np.max(np.abs(changes[1] - changes[0] - steady)[READABLE]) < 0.1


def test_a_steady_edge_in_noise_is_given_no_lag():
    """3 dB lost below 1 kHz, over an octave, at once: neither sweep lags. Noise of 0.05 dB s.d. in each, so the bias
    scatters by 0.1 dB: what is stated stays within four times that."""
    random = np.random.default_rng(3)
    change_db = -3.0 * np.clip(np.log2(1400.0 / HZ), 0.0, 1.0)
    rungs = []
    for level, lost_db in ((76.0, 0.0), (96.0, change_db)):
        flat = flat_output(level, sigma_db=0.05)
        noisy = [replace(flat, level_db=flat.level_db + lost_db + random.normal(0, 0.05, HZ.size)) for _ in range(2)]
        rungs.append(LevelStep(level_db_spl=level, time_s=level, output=noisy[0], short=noisy[1]))
    change = compression(HZ, rungs).levels[1]
    assert np.max(np.abs(bias_parts(HZ, change).lag_db)) < 0.4


def test_the_length_needed_follows_one_over_the_length():
    assert needed_seconds(0.05, duration_s=10.0) == 10.0
    assert needed_seconds(-0.25, duration_s=10.0) == 25.0
    assert needed_seconds(0.251, duration_s=10.0) == 26.0


def test_without_short_sweeps_there_is_no_lag_to_state(coarse):
    found = ladder(BRICK_WALL, (76.0, 96.0))
    assert sweep_lags(HZ, found.levels, lowest_valid_hz=25.0, duration_s=10.0) == ()
    assert sweep_lag(HZ, coarse[SOFT].levels[2], rows=HZ < 0, duration_s=10.0) is None


def test_without_noise_readings_nothing_is_said_of_the_lag(coarse):
    """Recordings without silence: no bias is certain, and a number that is none could not be written down."""
    level = coarse[BRICK_WALL].levels[2]
    unknown = replace(level, bias_uncertainty_db=np.full(HZ.size, np.nan))
    assert sweep_lag(HZ, level, rows=READABLE, duration_s=10.0) is not None
    assert sweep_lag(HZ, unknown, rows=READABLE, duration_s=10.0) is None


def test_what_noise_explains_is_no_lag(coarse):
    """The limiter's upper edge is read in so much noise that its bias may be nothing: the lower edge is stated."""
    level = coarse[BRICK_WALL].levels[3]
    uncertain = replace(level, bias_uncertainty_db=np.where(HZ > 1000.0, 10.0, 0.001))
    assert sweep_lag(HZ, level, rows=READABLE, duration_s=10.0).frequency_hz > 1000.0
    assert sweep_lag(HZ, uncertain, rows=READABLE, duration_s=10.0).frequency_hz < 1000.0
    above = sweep_lag(HZ, uncertain, rows=HZ > 1000.0, duration_s=10.0)
    assert (above.frequency_hz, above.lag_db, above.needed_s) == (None, 0.0, 10.0)


def test_heat_is_not_taken_for_lag():
    """A coil that is warmer in the longer sweep: the bias is stated apart, and no longer sweep is asked for."""
    rungs = []
    for level in (76.0, 104.0):
        outputs = []
        for seconds in (10.0, 5.0):
            sweep = sweep_at(level, seconds=seconds, sample_rate=RATE)
            outputs.append(output_of(HeatedCoil(RATE).play(sweep.samples())[0], sweep))
        rungs.append(LevelStep(level_db_spl=level, time_s=level, output=outputs[0], short=outputs[1]))
    change = compression(HZ, rungs).levels[1]
    found = sweep_lag(HZ, change, rows=READABLE, duration_s=10.0)
    assert np.max(change.bias_db[READABLE]) > 0.3  # the shorter sweep has lost less
    assert found.other_db == pytest.approx(np.max(change.bias_db[READABLE]))
    assert found.other_hz > 3000.0  # heat grows while the sweep climbs
    assert abs(found.lag_db) < 0.05
    assert found.needed_s == 10.0
