"""The exponential sweep against closed forms and against two general-purpose libraries."""

import math

import numpy as np
import pyfar as pf
import pytest
import scipy.signal

import signals
from signals import SignalError, Sweep

UNFADED = {"start_hz": 20.0, "full_level_hz": 20.001, "stop_hz": 20000.0, "fade_out_octaves": 1e-5}


def test_rate_and_arrivals_of_the_orders():
    """20 Hz to 20 kHz in 10 s: L = 1.45 s once synchronised, and T = 10.016245 s; orders arrive L ln n early.

    Closed form (Novak, Lotton, Simon 2015; Farina 2000), evaluated independently to six digits.
    """
    sweep = Sweep(**UNFADED, seconds=10.0)
    assert sweep.rate_s == pytest.approx(1.45, abs=1e-12)
    assert sweep.duration_s == pytest.approx(10.016245, abs=5e-7)  # the digits given
    for order, unsynchronised_s in {2: 1.003433, 3: 1.590404, 4: 2.006867, 5: 2.329900, 10: 3.333333}.items():
        assert sweep.advance_s(order) == pytest.approx(unsynchronised_s * 1.45 / 1.447648, abs=2e-6)


def test_equals_the_logarithmic_chirp_of_scipy():
    """scipy.signal.chirp(method="logarithmic", phi=-90) is sin of the same phase; 3e-10 is what its own rounding
    gives."""
    sweep = Sweep(**UNFADED, drive_dbfs=0.0)
    time_s = np.arange(sweep.n_samples) / sweep.sample_rate
    chirp = scipy.signal.chirp(time_s, 20.0, sweep.duration_s, 20000.0, method="logarithmic", phi=-90)
    middle = slice(200, -200)  # clear of the fades, a few samples long
    assert np.max(np.abs(sweep.samples()[middle] - chirp[middle])) < 1e-9


def test_equals_the_exponential_sweep_of_pyfar():
    """pyfar.signals.exponential_sweep_time without fade: the same formula, written by others."""
    sweep = Sweep(**UNFADED, drive_dbfs=0.0)
    theirs = pf.signals.exponential_sweep_time(
        sweep.n_samples, [20, 20000], n_fade_out=0, sweep_rate=None, sampling_rate=sweep.sample_rate
    ).time[0]
    time_s = np.arange(sweep.n_samples) / sweep.sample_rate
    # theirs ends after n samples, ours after T seconds, which is not a whole number of samples: same formula, own L
    rate_s = sweep.n_samples / sweep.sample_rate / math.log(1000.0)
    ours = np.sin(2 * np.pi * 20.0 * rate_s * (np.exp(time_s / rate_s) - 1))
    assert np.max(np.abs(theirs - ours)) < 1e-9
    early = slice(200, 48000)  # a second in, the two rates have drifted apart by far less than a milliradian
    assert np.max(np.abs(theirs[early] - sweep.samples()[early])) < 1e-3


def test_spectrum_falls_ten_decibels_a_decade():
    """|X(f)| = sqrt(L / f) / 2 in seconds (stationary phase)."""
    sweep = Sweep(drive_dbfs=0.0)
    spectrum = np.abs(np.fft.rfft(sweep.samples(), 2**20)) / sweep.sample_rate
    hz = np.arange(spectrum.size) * sweep.sample_rate / 2**20
    for low, high in [(90.0, 110.0), (900.0, 1100.0), (9000.0, 11000.0)]:
        band = (hz > low) & (hz < high)
        expected = np.mean(np.sqrt(sweep.rate_s / hz[band]) / 2)
        assert np.mean(spectrum[band]) == pytest.approx(expected, rel=0.01)  # ripple of the fades, under 1 %


def test_harmonics_of_a_synchronised_sweep_are_the_sweep_itself_shifted():
    """x(t + L ln n) = sin(n phase(t)) exactly, because f1 L is a whole number (Novak, Lotton, Simon 2015)."""
    sweep = Sweep()
    assert sweep.start_hz * sweep.rate_s == round(sweep.start_hz * sweep.rate_s)

    def phase(time_s):
        return 2 * np.pi * sweep.start_hz * sweep.rate_s * np.expm1(time_s / sweep.rate_s)

    time_s = np.linspace(0, 3, 500)
    for order in (2, 3, 7):
        shifted = np.sin(phase(time_s + sweep.advance_s(order)))
        assert np.max(np.abs(shifted - np.sin(order * phase(time_s)))) < 1e-8  # rounding of phases near 1e4


def test_steady_part_has_the_drive_asked_for():
    """AES17: a sine of amplitude A has 20 log10 A dBFS."""
    sweep = Sweep(drive_dbfs=-19.0)
    middle = sweep.samples()[sweep.n_samples // 2 : -20000]
    assert signals.levels.rms_dbfs(middle) == pytest.approx(-19.0, abs=0.001)  # the cut ends within a period
    assert np.max(np.abs(sweep.samples())) <= 10 ** (-19 / 20)


def test_protection_falls_24_db_an_octave_below_the_lowest_frequency():
    sweep = Sweep(lowest_hz=80.0)
    levels_db = 20 * np.log10(sweep.envelope([160.0, 80.0, 40.0, 20.0]))
    assert levels_db == pytest.approx([0.0, 0.0, -24.0, -48.0], abs=1e-9)  # exact by construction


@pytest.mark.parametrize("sample_rate", [8000, 44100, 48000, 96000, 192000])
def test_description_makes_the_same_samples_again(sample_rate):
    sweep = Sweep(sample_rate=sample_rate, stop_hz=0.45 * sample_rate, seconds=2.5, lowest_hz=60.0)
    again = signals.from_description(signals.describe(sweep))
    assert again == sweep
    assert np.array_equal(again.samples(), sweep.samples())


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"stop_hz": 24000.0}, "not below half the sample rate"),
        ({"seconds": 0.0}, "seconds must be above 0"),
        ({"seconds": math.nan}, "finite"),
        ({"start_hz": math.inf}, "finite"),
        ({"drive_dbfs": 0.5}, "above digital full scale"),
        ({"full_level_hz": 9.0}, "start_hz < full_level_hz"),
        ({"seconds": 0.1}, "cannot be synchronised"),
        ({"lowest_hz": -5.0}, "lowest_hz must be above 0"),
    ],
)
def test_what_cannot_be_a_sweep_is_refused(fields, says):
    with pytest.raises(SignalError, match=says):
        Sweep(**fields)
