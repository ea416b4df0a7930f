"""What silences say, part by part: spectra of known lines and noises, sums by hand, lengths that just suffice."""

import math

import numpy as np
import pytest

from distort.recording.alignment.locating import Alignment
from distort.recording.alignment.silences import Silences
from distort.recording.quality.noise import (
    _by_side,
    _energy,
    _hum_power,
    _line_power,
    _line_spectrum,
    _Noise,
    _octaves,
    noise_findings,
)
from distort.recording.quality.not_found import _first_chirp, _missing_s
from distort.recording.take_levels import _mean_power
from signals import Multitone, Reel, Silence, Sweep, framed

RATE = 8000
SILENCE = Silence(seconds=4.0, settle_s=0.5, sample_rate=RATE)
SWEEP = Sweep(seconds=2.0, sample_rate=RATE, start_hz=20.0, full_level_hz=30.0, stop_hz=3700.0, drive_dbfs=-20.0)
REEL = Reel((SILENCE, SWEEP, SILENCE))
FIRST = 4 * RATE
END = FIRST + SWEEP.n_samples


def alignment(*spans: tuple[int, int]) -> Alignment:
    return Alignment(
        stimulus_start=float(FIRST),
        chirp_positions=(),
        clock_difference_ppm=math.nan,
        clock_uncertainty_ppm=math.nan,
        polarity=1,
        peak_to_background_db=(),
        stimulus_peak_to_background_db=math.nan,
        silences=Silences(spans),
    )


# --- noise ------------------------------------------------------------------------------------------------------------


def test_the_power_of_a_band_is_the_sum_of_its_bins():
    """2 Hz apart; the bin at the lower edge belongs to it, that at the upper one does not."""
    noise = _Noise(np.arange(5) * 2.0, np.array([1.0, 10.0, 100.0, 1000.0, 10000.0]))
    assert noise.power(2.0, 6.0) == pytest.approx(2.0 * 110.0)
    assert noise.power(2.1, 6.1) == pytest.approx(2.0 * 1100.0)


def test_the_longest_silence_on_either_side():
    spans = ((0, 100), (200, 900), (1000, 1500), (FIRST + 1, FIRST + 50), (FIRST + 100, FIRST + 400))
    assert _by_side(alignment(*spans)) == ((200, 900), (FIRST + 100, FIRST + 400))
    assert _by_side(alignment((FIRST - 9, FIRST))) == ((FIRST - 9, FIRST), None)
    assert _by_side(alignment((FIRST - 9, FIRST + 1))) == (None, None)


def test_both_silences_count_by_their_length():
    """A second and three of them, of noises 10 dB apart: in power, `(1 x 1 + 3 x 10) / 4` of the weaker one."""
    noise = np.random.default_rng(1).standard_normal(4 * RATE)
    samples = np.concatenate([1e-4 * noise, SWEEP.samples(), 1e-4 * math.sqrt(10.0) * noise])
    before, after = (FIRST - RATE, FIRST), (END, END + 3 * RATE)
    weaker, louder, both = (
        {one.name: one.value for one in noise_findings(samples, REEL, alignment(*spans))}
        for spans in ((before,), (after,), (before, after))
    )
    for name in ("snr_126hz", "snr_501hz", "snr_1995hz"):
        parts = 10.0 ** (-0.1 * weaker[name]), 10.0 ** (-0.1 * louder[name])
        # what the noise takes off the signal itself is a ten-thousandth of it
        assert 10.0 ** (-0.1 * both[name]) == pytest.approx((parts[0] + 3.0 * parts[1]) / 4.0, rel=0.01)


def test_what_lies_below_22_hz_is_not_in_the_figure():
    """The lowest octave begins at `1000 x 10^-1.65` Hz, 22.4; a sine of 20 Hz lies below it with both bins, 2 Hz apart,
    that a Hann window gives it on either side, one of 26 Hz above."""
    noise = 1e-5 * np.random.default_rng(1).standard_normal(END + 4 * RATE)
    for hz, expected_dbfs in ((20.0, -97.0), (26.0, -60.0)):
        samples = noise + 1e-3 * np.sin(2.0 * np.pi * hz * np.arange(noise.size) / RATE)
        samples[FIRST:END] += SWEEP.samples()
        found = {one.name: one.value for one in noise_findings(samples, REEL, alignment((0, FIRST)))}
        assert found["noise_before"] == pytest.approx(expected_dbfs, abs=0.2)


def test_a_stimulus_under_the_noise_counts_as_30_db_below_it():
    """Where nothing sounds, less noise than elsewhere: what is left of the signal is less than none."""
    samples = 1e-3 * np.random.default_rng(1).standard_normal(END + 4 * RATE)
    samples[FIRST:END] = 0.0
    found = {one.name: one for one in noise_findings(samples, REEL, alignment((0, FIRST)))}
    assert found["snr_501hz"].value == pytest.approx(-30.0)
    assert found["signal"].value == pytest.approx(-30.0)
    assert found["signal"].verdict == "refuse"


def test_energies_sum_to_mean_square_times_seconds():
    """A sine of 0.2 over half a second, 0.01 J; of a length that has no small factors as well."""
    for size in (4000, 4001):
        samples = 0.2 * np.sin(2.0 * np.pi * 500.0 * np.arange(size) / RATE)
        frequency_hz, energy = _energy(samples, RATE)
        assert np.sum(energy) == pytest.approx(0.02 * size / RATE, rel=1e-3)
        assert frequency_hz[np.argmax(energy)] == pytest.approx(500.0, abs=1.0)
    assert frequency_hz[-1] == pytest.approx(RATE / 2, rel=1e-3)


def test_octaves_of_a_sweep_with_how_long_it_stays_in_each():
    """`L ln(high / low)`, between edges of `1000 x 10^(0.3 n +- 0.15)` Hz (IEC 61260-1), cut to where the sweep
    is at full level, and left out where less than the lower half of one is left."""
    found = {round(middle): (low, high, seconds) for middle, low, high, seconds in _octaves(REEL)}
    assert list(found) == [32, 63, 126, 251, 501, 1000, 1995]
    for name, index in ((63, -4), (1000, 0), (1995, 1)):
        low, high, seconds = found[name]
        assert low == pytest.approx(1000.0 * 10.0 ** (0.3 * index - 0.15))
        assert high == pytest.approx(1000.0 * 10.0 ** (0.3 * index + 0.15))
        assert seconds == pytest.approx(SWEEP.rate_s * math.log(high / low))
    assert found[32][0] == pytest.approx(30.0)


# --- hum --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("extra", [0, 799])
def test_the_spectrum_of_lines_holds_the_power_of_each(extra):
    """A sine of 0.2 has 0.02, up to the eleventh of 60 Hz, in whole tenths of a second."""
    time_s = np.arange(RATE + extra) / RATE
    frequency_hz, power = _line_spectrum(0.2 * np.sin(2.0 * np.pi * 150.0 * time_s), RATE)
    assert power[150] == pytest.approx(0.02)
    assert (frequency_hz[150], frequency_hz[-1]) == (150.0, 660.0)


FREQUENCY_HZ = np.arange(0.0, 700.0, 0.5)


def lines(**power: float) -> tuple[np.ndarray, np.ndarray]:
    """Noise of 1 in every bin, and lines at some frequencies: `_100=50.0`."""
    found = np.ones(FREQUENCY_HZ.size)
    for name, value in power.items():
        found[float(name[1:].replace("_", ".")) == FREQUENCY_HZ] = value
    return FREQUENCY_HZ, found


def test_hum_is_what_stands_out_in_every_silence():
    """The mean of both silences, summed over ten orders; what one of them lacks is none."""
    one, other = lines(_50=100.0, _500=60.0, _550=900.0, _250=70.0), lines(_50=200.0, _500=40.0, _550=900.0)
    assert _hum_power([one, other], 50) == pytest.approx(150.0 + 50.0)
    assert _hum_power([one], 50) == pytest.approx(100.0 + 60.0 + 70.0)
    assert _hum_power([lines(_600=80.0, _660=900.0)], 60) == pytest.approx(80.0)


@pytest.mark.parametrize(("name", "found"), [("_602", 100.0), ("_602_5", 0.0), ("_598", 100.0), ("_597_5", 0.0)])
def test_mains_stay_within_four_thousandths(name, found):
    """2.4 Hz of 600; near 50 Hz it is one and a half bins of half a hertz."""
    assert _line_power(*lines(**{name: 100.0}), 600.0) == found
    assert _line_power(*lines(_50_5=100.0), 50.0) == 100.0
    assert _line_power(*lines(_51=100.0), 50.0) == 0.0


@pytest.mark.parametrize(("apart_hz", "enough"), [(2.6, True), (3.0, False)])
def test_eight_neighbours_tell_what_stands_out(apart_hz, enough):
    """Beyond a bin and a half and two more, up to 20 Hz off: four on either side at 10.4 to 18.2 Hz, or three."""
    frequency_hz = np.arange(200) * apart_hz
    power = np.ones(200)
    power[50] = 100.0
    assert _line_power(frequency_hz, power, 50 * apart_hz) == (100.0 if enough else 0.0)


# --- what was cut off -------------------------------------------------------------------------------------------------


def test_how_much_of_tones_is_missing_is_told_by_a_chirp_and_one_period():
    tone = Multitone(low_hz=600.0, high_hz=3300.0, lines_per_decade=30.0, period_s=0.5, sample_rate=RATE, periods=4)
    reel = framed(tone)
    first, _ = reel.only_stimulus()
    noise = 1e-5 * np.random.default_rng(1).standard_normal(reel.n_samples)
    samples = reel.samples() + noise
    for seconds, missing_s in ((2.0, tone.n_samples / RATE - 2.0), (1.0, tone.n_samples / RATE - 1.0)):
        assert _missing_s(samples[: first + round(seconds * RATE)], reel) == pytest.approx(missing_s, abs=1e-3)
    assert _missing_s(samples[: first + tone.period_samples - 40], reel) is None  # not a period is there
    assert _missing_s(samples[: first + tone.n_samples + 10], reel) is None  # nothing is missing
    other = framed(Multitone(**{**vars_of(tone), "seed": 7}))
    assert _missing_s((other.samples() + noise)[: first + 2 * RATE], reel) is None
    assert _missing_s(samples[first - 4000 : first + 2 * RATE], reel) is None  # without a chirp nothing tells


def vars_of(tone: Multitone) -> dict:
    names = ("low_hz", "high_hz", "lines_per_decade", "period_s", "sample_rate", "periods")
    return {name: getattr(tone, name) for name in names}


def test_the_first_chirp_is_the_strongest_whatever_its_sign():
    reel = framed(SWEEP)
    samples = 1e-4 * np.random.default_rng(1).standard_normal(12000)
    chirp = reel.chirps()[0][1].samples()
    samples[3000 : 3000 + chirp.size] -= 0.1 * chirp
    samples[9000 : 9000 + chirp.size] -= 0.2 * chirp
    assert _first_chirp(samples, reel) == 9000
    assert _first_chirp(samples[4000:8000], reel) is None
    assert _first_chirp(samples, REEL) is None


# --- the level of a take ----------------------------------------------------------------------------------------------


def test_the_power_of_stretches_in_a_band():
    """Sines of 0.2 at 500 Hz and 0.4 at 1 kHz (their squares half that), a second with both and three with the first
    alone; the bins at the edges count."""
    time_s = np.arange(3 * RATE) / RATE
    low, high = 0.2 * np.sin(2.0 * np.pi * 500.0 * time_s), 0.4 * np.sin(2.0 * np.pi * 1000.0 * time_s)
    stretches = [(low + high)[:RATE], low]
    assert _mean_power(stretches, RATE, (500.0, 1000.0)) == pytest.approx(0.02 + 0.08 / 4.0)
    assert _mean_power(stretches, RATE, (500.5, 1000.0)) == pytest.approx(0.08 / 4.0)
    assert _mean_power(stretches, RATE, (500.0, 999.5)) == pytest.approx(0.02)
    assert _mean_power([], RATE, (500.0, 1000.0)) == 0.0
