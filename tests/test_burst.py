"""Tone bursts through a loudspeaker of known curvature, against integrals of their envelope, and in noise."""

from dataclasses import replace

import numpy as np
import pytest
import scipy

from distort.analysis.burst import ORDERS, BurstTake, read_bursts
from distort.analysis.burst_series.judged import BurstLevel
from distort.analysis.burst_series.result import BurstResult, burst_result
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.sweep.sweeps import Reference
from signals import SignalError, describe, from_description
from signals.burst import PEAK_OVER_RMS_DB, PERIODS, Burst, BurstSeries, third_octaves_hz

RATE = 48000
SERIES = BurstSeries(bands_hz=third_octaves_hz(100.0, 2000.0), drive_dbfs=-6.0)
QUIET = BurstSeries(bands_hz=SERIES.bands_hz, drive_dbfs=-46.0)
CUBIC = -0.4
"""y = x + CUBIC x^3: at a peak of half of full scale the fundamental loses 3/4 x 0.4 x 0.25 = 7.5 % of its top."""

SPL = Reference(offset_db=110.0, unit="db_spl")


def heard(
    series: BurstSeries, *, cubic: float = CUBIC, noise: float = 0.0, seed: int = 1, start: int = 24000
) -> BurstTake:
    """The series through a memoryless loudspeaker, after half a second and with a second after it."""
    played = series.samples()
    answer = np.concatenate([np.zeros(start), played + cubic * played**3, np.zeros(RATE)])
    answer += noise * np.random.default_rng(seed).standard_normal(answer.size)
    silences = (answer[:start],)
    return BurstTake(samples=answer, start=float(start), silences=silences, recorded_hz=RATE)


def level(series: BurstSeries, take: BurstTake, nominal: float, **more) -> BurstLevel:
    reading = read_bursts([take], series, **more)
    drive_dbfs = series.drive_dbfs
    return BurstLevel(level_db_spl=nominal, drive_db=drive_dbfs, played_dbfs=drive_dbfs, reading=reading, reference=SPL)


def result_of(levels: list[BurstLevel]) -> BurstResult:
    return burst_result(levels, BurstLimits())


FROM_MIDDLE = np.linspace(-2.0, 2.0, 2001)
"""Frequencies within the lobe, which ends at two over the length of the burst."""
TIME = np.linspace(0.0, 1.0, 2001)
TURNS = np.exp(-2j * np.pi * np.outer(FROM_MIDDLE, TIME))


def lobe(amplitudes: list[float]) -> np.ndarray:
    """Within the lobe, the Fourier integral of sum over p of amplitudes[p] w(t)^(2 p + 1), by Simpson's rule; w is the
    Hann envelope sin(pi t)^2 of unit length."""
    envelope = sum(a * np.sin(np.pi * TIME) ** (2 * (2 * p + 1)) for p, a in enumerate(amplitudes))
    return scipy.integrate.simpson(TURNS * envelope, x=TIME, axis=1)


def lobe_energy(amplitudes: list[float]) -> float:
    return float(scipy.integrate.simpson(np.abs(lobe(amplitudes)) ** 2, x=FROM_MIDDLE))


def lobe_top(amplitudes: list[float]) -> float:
    """The highest point of what the lobe alone makes of it."""
    back = scipy.integrate.simpson(np.conj(TURNS).T * lobe(amplitudes), x=FROM_MIDDLE, axis=1)
    return float(np.max(np.abs(back)))


def test_the_third_octaves_are_exact_and_nearest_to_what_is_asked_for() -> None:
    """IEC 61260-1, base ten: 10^(x / 10) Hz; 63 Hz and 8 kHz are nominal names of 63.1 and 7943 Hz."""
    bands = third_octaves_hz(63.0, 8000.0)
    assert len(bands) == 22
    assert (bands[0], bands[-1]) == pytest.approx((63.0957, 7943.28), rel=1e-5)
    assert third_octaves_hz(500.0, 100.0) == ()


def test_bursts_rise_in_frequency_with_silence_between_them() -> None:
    series = BurstSeries(bands_hz=(100.0, 200.0), periods=6.5, gap_s=0.1, drive_dbfs=-12.0)
    samples = series.samples()
    assert series.starts == (0, 3120 + 4800)
    assert series.n_samples == samples.size == 3120 + 4800 + 1560
    np.testing.assert_array_equal(samples[:3120], Burst(frequency_hz=100.0, periods=6.5, drive_dbfs=-12.0).samples())
    assert not np.any(samples[3120:7920])
    assert series.seconds_in(150.0, 300.0) == 1560 / RATE
    # of 6.5 periods the sine has its crest where the envelope has its top, within the sampling
    assert np.max(np.abs(samples)) == pytest.approx(10.0 ** (-12.0 / 20.0), rel=2e-3)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"bands_hz": ()}, "1 to 100"),
        ({"bands_hz": "100"}, "1 to 100"),
        ({"bands_hz": (200.0, 100.0)}, "rise"),
        ({"bands_hz": (100.0, 100.0)}, "rise"),
        ({"bands_hz": (0.0, 100.0)}, "above 0"),
        ({"bands_hz": ("a",)}, "finite number"),
        ({"gap_s": -0.1}, "0 or more"),
        ({"periods": 0.0}, "above 0"),
        ({"bands_hz": (19000.0,)}, "half the sample rate"),
        ({"gap_s": 1e9}, "at most"),
        ({"drive_dbfs": 1.0}, "full scale"),
    ],
)
def test_what_is_no_series_is_refused(fields, words) -> None:
    with pytest.raises(SignalError, match=words):
        BurstSeries(**fields)


def test_a_series_from_a_sidecar_is_the_same() -> None:
    described = {**describe(SERIES), "bands_hz": list(SERIES.bands_hz)}  # JSON has no tuples
    assert from_description(described) == SERIES
    assert hash(from_description(described)) == hash(SERIES)
    assert from_description({**describe(Burst()), "periods": 8}) == Burst()  # as older sidecars say it


def test_a_wire_gives_the_drive_back_and_no_compression() -> None:
    """A steady sine of the drive has offset + drive dB SPL, and a peak 20 lg sqrt 2 above it."""
    result = result_of([level(QUIET, heard(QUIET, cubic=0.0), 60.0), level(SERIES, heard(SERIES, cubic=0.0), 100.0)])
    # rounding of numbers
    np.testing.assert_allclose(result.peak_db, 110.0 - 6.0 + 20.0 * np.log10(np.sqrt(2.0)), atol=1e-6)
    np.testing.assert_allclose(result.compression_db, 0.0, atol=1e-6)
    np.testing.assert_allclose(result.level_db_spl, 100.0)
    assert set(result.ended_by) == {"plan"}


def test_a_known_cubic_compresses_and_makes_a_third_harmonic_as_the_integrals_say() -> None:
    """y = x + c x^3 of x = A w sin: fundamental A w + 3/4 c A^3 w^3, third harmonic -1/4 c A^3 w^3 (sin^3 identity)."""
    result = result_of([level(QUIET, heard(QUIET), 60.0), level(SERIES, heard(SERIES), 100.0)])
    top = 10.0 ** (-6.0 / 20.0)
    fundamental = lobe_energy([1.0, 0.75 * CUBIC * top**2])
    compression_db = -10.0 * np.log10(fundamental / lobe_energy([1.0]))
    third_db = 10.0 * np.log10(lobe_energy([0.0, 0.25 * CUBIC * top**2]) / fundamental)
    assert compression_db > 0.4
    # the quiet level compresses by 1e-5 dB; what is left is the recording's sampling of the envelope
    np.testing.assert_allclose(result.compression_db, compression_db, atol=0.002)
    # the sine's own spectrum about 3 f adds up to -77 dB at any phase, of a third harmonic at -34 dB
    np.testing.assert_allclose(result.harmonics_db[1], third_db, atol=0.15)
    top_db = 20.0 * np.log10(lobe_top([1.0, 0.75 * CUBIC * top**2]) / lobe_top([1.0]))
    assert top_db == pytest.approx(20.0 * np.log10(1.0 + 0.75 * CUBIC * top**2), abs=0.1)  # w^3 is sharper than a lobe
    np.testing.assert_allclose(result.peak_db, 110.0 - 6.0 + PEAK_OVER_RMS_DB + top_db, atol=0.005)
    # no even order, so that what is read is the floor
    assert np.all(result.doubtful[0])
    assert not np.any(result.doubtful[1])


def test_the_floor_of_the_orders_is_the_spectrum_of_the_burst_itself() -> None:
    """Of a Hann envelope of unit length, x bins from its middle, the spectrum is sin(pi x) / (2 pi x (1 - x^2)); about
    2 f that is from 4.5 to 8.5 bins away."""
    result = result_of([level(SERIES, heard(SERIES, cubic=0.0), 100.0)])
    bins = np.linspace(PERIODS - 2.0, PERIODS + 2.0, 4001)
    at_second = scipy.integrate.simpson((np.sin(np.pi * bins) / (2.0 * np.pi * bins * (1.0 - bins**2))) ** 2, x=bins)
    second_db = 10.0 * np.log10(at_second / lobe_energy([1.0]))
    # the negative frequencies of a short sine add in amplitude, 15 to 19 bins away: within 1 dB
    np.testing.assert_allclose(result.floor_db[0], second_db, atol=1.0)
    np.testing.assert_allclose(result.harmonics_db[0], result.floor_db[0], atol=0.1)
    assert np.all(np.isnan(result.compression_db))  # of one level nothing is known


def test_the_bursts_own_spectrum_is_heard_through_the_response_of_the_bands() -> None:
    """A loudspeaker whose power rises as the frequency: what the burst has at n f is n f / 100 Hz times as strong,
    twice of what the band itself has at 2 f and three times at 3 f; above the highest band as there."""
    take = heard(SERIES, cubic=0.0)
    samples = take.samples.copy()
    for band_hz, first, burst in zip(SERIES.bands_hz, SERIES.starts, SERIES.bursts, strict=True):
        samples[24000 + first : 24000 + first + burst.n_samples] *= np.sqrt(band_hz / 100.0)
    plain = read_bursts([take], SERIES)
    found = read_bursts([replace(take, samples=samples)], SERIES)
    bands_hz = np.array(SERIES.bands_hz)
    for order in (2, 3):
        gain = np.minimum(order * bands_hz, bands_hz[-1]) / 100.0
        np.testing.assert_allclose(found.leak[order - 1], plain.leak[order - 1] * gain, rtol=1e-6)


def test_noise_is_taken_off_and_told_as_a_floor() -> None:
    """White noise s in a lobe of 4 f / m over the window's energy W has the energy s^2 2 / fs x 4 f / m x W."""
    noise = 1e-3
    takes = [heard(SERIES, noise=noise, seed=seed, start=96000) for seed in range(20)]
    reading = read_bursts(takes, SERIES)
    clean = read_bursts([heard(SERIES)], SERIES)
    lobe_hz = 4.0 * np.array(SERIES.bands_hz) / PERIODS
    window_s = np.array([burst.n_samples / RATE for burst in SERIES.bursts]) + SERIES.gap_s
    # fades of 5 and 50 ms take 5/8 of their lengths from the window's energy
    expected = noise**2 * 2.0 / RATE * lobe_hz * (window_s - 0.625 * 0.055)
    # a periodogram of 20 x 5 or more independent values scatters by 10 %, the silences' estimate by as much
    np.testing.assert_allclose(reading.noise[2], expected, rtol=0.15)
    # the third harmonic, 20 dB over the noise of 20 takes: 4 s.d. of it
    third_db = 10.0 * np.log10(reading.energy[2] / clean.energy[2])
    assert np.max(np.abs(third_db)) < 1.0
    assert abs(np.mean(third_db)) < 0.25
    # of an order that is not there only the scatter of the noise is left, 10 % of it, and no more than half of the time
    assert np.mean(reading.energy[3] / reading.noise[3]) < 0.2
    # a fundamental is 60 dB clear of it
    np.testing.assert_allclose(reading.energy[0], clean.energy[0], rtol=0.01)


def test_the_microphones_response_is_taken_out_at_each_order() -> None:
    microphone = MicrophoneResponse(frequency_hz=np.array([20.0, 3000.0]), level_db=np.array([2.0, 2.0]))
    take = heard(SERIES)
    plain, in_air = read_bursts([take], SERIES), read_bursts([take], SERIES, microphone)
    known = np.outer([1, *ORDERS], SERIES.bands_hz) <= 3000.0
    np.testing.assert_allclose((in_air.energy / plain.energy)[known], 10.0**-0.2, rtol=1e-12)
    assert np.array_equal(np.isfinite(in_air.energy), known)
    np.testing.assert_allclose(in_air.peak / plain.peak, 10.0**-0.1, rtol=1e-12)


def test_orders_above_the_recorded_band_are_not_known() -> None:
    take = heard(SERIES)
    low = BurstTake(samples=take.samples, start=take.start, silences=take.silences, recorded_hz=8000)
    known = np.outer([1, *ORDERS], SERIES.bands_hz) <= 0.45 * 8000
    assert np.array_equal(np.isfinite(read_bursts([low], SERIES).energy), known)


def test_a_volume_that_was_turned_by_nobody_knows_how_much_leaves_no_compression() -> None:
    one, other = level(QUIET, heard(QUIET), 60.0), level(SERIES, heard(SERIES), 100.0)
    unknown = replace(other, drive_db=None)
    assert np.all(np.isnan(result_of([one, unknown]).compression_db))


def test_a_band_that_was_left_out_above_keeps_the_row_of_its_highest_level() -> None:
    fewer = BurstSeries(bands_hz=SERIES.bands_hz[1:], drive_dbfs=-6.0)
    result = result_of([level(QUIET, heard(QUIET), 60.0), level(fewer, heard(fewer), 100.0)])
    assert result.level_db_spl.tolist() == [60.0] + [100.0] * (len(SERIES.bands_hz) - 1)
    assert np.isnan(result.compression_db[0])
    assert np.all(np.isfinite(result.compression_db[1:]))
