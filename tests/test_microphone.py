"""A device of known orders heard through a microphone of known response, in closed form, comes back without it."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.fft

from distort.analysis.common.grid import band_edges_hz, grid_hz
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.multitone.in_air import only_covered_lines
from distort.analysis.multitone.powers import LinePowers
from distort.analysis.multitone.reading import MultitoneTake, multitone_result, read_multitone
from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics, sweep_response
from signals import Multitone, Sweep
from tests.devices.band_levels import band_level_dbfs
from tests.devices.cascade import Resonator, chain
from tests.devices.memoryless import sweep_with_harmonics

SWEEP = Sweep(drive_dbfs=-6.0)
CAPSULE = (Resonator(14000.0, 0.9, 1.5), Resonator(3000.0, 2.0, 0.2), Resonator(8.0, 0.7, kind="highpass"))
"""A free-field rise of 8 dB, a ripple of 1.6 dB and the lower limit of a pressure microphone, all analogue sections."""
AMPLITUDES = {1: 1.0, 2: 0.01, 3: 0.003, 4: 0.001, 5: 0.0005}
SILENCE = slice(0, 96000)


def written(low_hz: float = 10.0, high_hz: float = 24000.0, *, phase: bool = False) -> MicrophoneResponse:
    """The capsule as its file would state it: 192 points an octave, so that lines between them cost under 0.001 dB."""
    frequency_hz = np.geomspace(low_hz, high_hz, int(192 * np.log2(high_hz / low_hz)))
    response = chain(CAPSULE, frequency_hz)
    return MicrophoneResponse(
        frequency_hz=frequency_hz,
        level_db=20.0 * np.log10(np.abs(response)),
        phase_deg=np.degrees(np.unwrap(np.angle(response))) if phase else None,
    )


def heard(played: np.ndarray) -> np.ndarray:
    """`played` through the capsule, as one transform."""
    n = int(scipy.fft.next_fast_len(played.size + 24000, real=True))
    frequency_hz = np.maximum(np.arange(n // 2 + 1) * (48000.0 / n), 1e-9)
    return scipy.fft.irfft(scipy.fft.rfft(played, n) * chain(CAPSULE, frequency_hz), n)


@pytest.fixture(scope="module")
def take() -> SweepTake:
    """Two seconds of white noise at -100 dB re full scale, then the device, through the capsule."""
    noise = 1e-5 * np.random.default_rng(3).standard_normal(SILENCE.stop + 2 * 48000 + SWEEP.n_samples)
    played = np.zeros_like(noise)
    played[SILENCE.stop : SILENCE.stop + SWEEP.n_samples] = sweep_with_harmonics(SWEEP, AMPLITUDES)
    samples = heard(played)[: noise.size] + noise
    return SweepTake(samples=samples, start=float(SILENCE.stop), silences=(noise[SILENCE],))


def analyse(take: SweepTake, microphone: MicrophoneResponse | None, **how):
    read = read_sweep([take], SWEEP, Settings(orders=5, microphone=microphone, **how))
    return sweep_response(read, Reference()), sweep_harmonics(read, Reference())


@pytest.mark.parametrize("octaves", [1.0 / 12.0, 1.0 / 3.0])
def test_known_orders_come_back(take, octaves) -> None:
    """Closed form: T_n(cos t) = cos n t. Without noise each order within 0.01 dB up to 18 kHz, whatever the smoothing:
    the microphone's slope of up to 12 dB an octave is taken out before it."""
    clean = replace(take, samples=heard(sweep_with_harmonics(SWEEP, AMPLITUDES)), start=0.0, silences=())
    response, harmonics = analyse(clean, written(), smoothing_octaves=octaves)
    hz = response.frequency_hz
    kept = (hz > 30.0) & (hz < 18000.0)
    assert np.max(np.abs(response.level_db - SWEEP.drive_dbfs)[kept]) < 0.01
    for order in harmonics.orders:
        kept = (hz > 30.0) & (order.order * hz < 18000.0)
        expected_db = 20.0 * np.log10(AMPLITUDES[order.order])
        assert np.max(np.abs(order.relative_db - expected_db)[kept]) < 0.01
    raw, _ = analyse(clean, None, smoothing_octaves=octaves)
    assert np.max(np.abs(raw.level_db - SWEEP.drive_dbfs)[kept]) > 1.0  # there was something to take out


def test_phase_is_taken_out_where_the_file_states_one(take) -> None:
    clean = replace(take, samples=heard(sweep_with_harmonics(SWEEP, AMPLITUDES)), start=0.0, silences=())
    kept = (grid_hz() > 40.0) & (grid_hz() < 18000.0)
    # the device answers with a cosine where the sweep has a sine
    with_phase = np.mod(analyse(clean, written(phase=True))[0].phase_deg + 90.0 + 180.0, 360.0) - 180.0
    bare = np.mod(analyse(clean, written())[0].phase_deg + 90.0 + 180.0, 360.0) - 180.0
    turned = np.degrees(np.angle(chain(CAPSULE, grid_hz())))
    assert np.max(np.abs(with_phase - with_phase[kept][0])[kept]) < 0.5  # the band edge at 17 Hz turns it a little
    assert np.max(np.abs(bare - turned - (bare - turned)[kept][0])[kept]) < 0.5


def test_the_split_between_f_and_n_f(take) -> None:
    """D_n changes by -(C(n f) - C(f)), its noise floor too, the fundamental by -C(f)."""
    smooth = MicrophoneResponse(frequency_hz=np.array([10.0, 24000.0]), level_db=np.array([-3.0, 9.0]))
    without, with_it = analyse(take, None), analyse(take, smooth)
    hz = grid_hz()
    # 1.07 dB an octave over a twelfth of one leaves 0.0001 dB. Noise within a band is uneven by chance, and 0.09 dB of
    # slope across it move its mean by up to a fifth of that.
    by_chance_db = 0.02
    kept = (hz > 100.0) & (hz < 18000.0)
    fundamentals = zip(
        (without[0].level_db, without[0].noise_db), (with_it[0].level_db, with_it[0].noise_db), strict=True
    )
    for (before, after), within_db in zip(fundamentals, (0.01, by_chance_db), strict=True):
        np.testing.assert_allclose((after - before)[kept], -smooth.at(hz)[kept], rtol=0, atol=within_db)
    for before, after in zip(without[1].orders, with_it[1].orders, strict=True):
        kept = (hz > 100.0) & (before.order * hz < 18000.0)
        moved_db = -(smooth.at(before.order * hz) - smooth.at(hz))[kept]
        np.testing.assert_allclose((after.relative_db - before.relative_db)[kept], moved_db, rtol=0, atol=0.01)
        np.testing.assert_allclose((after.noise_db - before.noise_db)[kept], moved_db, rtol=0, atol=by_chance_db)


def test_outside_its_range_cells_are_empty(take) -> None:
    """Known from 100 Hz to 5 kHz: the fundamental has a cell where f lies inside, order n where n f does too."""
    response, harmonics = analyse(take, written(100.0, 5000.0))
    hz = grid_hz()
    inside = (hz >= 100.0) & (hz <= 5000.0)
    for curve in (response.level_db, response.phase_deg, response.noise_db, harmonics.residual_db):
        assert np.array_equal(np.isfinite(curve), inside)
    for order in harmonics.orders:
        both = inside & (order.order * hz <= 5000.0)
        for curve in (order.relative_db, order.noise_db, order.level_db, order.uncertainty_db):
            assert np.array_equal(np.isfinite(curve), both)
    assert np.array_equal(harmonics.thd_orders[inside], [np.sum(np.arange(2, 6) * f <= 5000.0) for f in hz[inside]])


def test_a_flat_microphone_changes_nothing(take) -> None:
    """Division by 1 is exact."""
    flat = MicrophoneResponse(frequency_hz=np.array([1.0, 30000.0]), level_db=np.zeros(2))
    bare, through = analyse(take, None), analyse(take, flat)
    assert np.array_equal(bare[0].level_db, through[0].level_db, equal_nan=True)
    assert np.array_equal(bare[1].residual_db, through[1].residual_db, equal_nan=True)
    for one, other in zip(bare[1].orders, through[1].orders, strict=True):
        assert np.array_equal(one.relative_db, other.relative_db, equal_nan=True)


TONE = Multitone()


def bent_and_heard() -> tuple[np.ndarray, np.ndarray]:
    """Spectrum (amplitudes, `(bins,)`) of one period of a cubic device, and the whole multitone through the capsule."""
    period = TONE.samples()[: TONE.period_samples]
    spectrum = scipy.fft.rfft(period + 0.1 * period**2 + 0.5 * period**3)
    frequency_hz = np.maximum(np.arange(spectrum.size) / TONE.period_s, 1e-9)
    through = scipy.fft.irfft(spectrum * chain(CAPSULE, frequency_hz), period.size)
    return np.abs(spectrum) * 2.0 / period.size, np.tile(through, TONE.n_samples // period.size)


def test_a_multitone_comes_back_at_its_lines_and_its_bands() -> None:
    """The periodic device's own spectrum, summed by hand: even bins without lines, and lines, per third octave."""
    amplitude, samples = bent_and_heard()
    take = MultitoneTake(samples=np.pad(samples, 50), start=50.0)
    read = read_multitone(take, TONE, written())
    result = multitone_result([read], Reference())
    lines_db = 20.0 * np.log10(amplitude[TONE.line_bins] / TONE.line_amplitudes)
    assert np.max(np.abs(result.response.gain_db - lines_db)) < 0.01
    low_hz, high_hz = band_edges_hz(result.bands.frequency_hz, bands_per_octave=3)
    bin_hz = np.arange(amplitude.size) / TONE.period_s
    compared = 0
    for band, (low, high) in enumerate(zip(low_hz, high_hz, strict=True)):
        inside = np.flatnonzero((bin_hz >= low) & (bin_hz < high))
        on_lines = np.intersect1d(inside, TONE.line_bins)
        even = inside[inside % 2 == 0]
        if on_lines.size and high < 20000.0:
            power_db = 10.0 * np.log10(np.sum(np.square(amplitude[on_lines])))
            assert result.bands.level_db[band] == pytest.approx(power_db, abs=0.01)
            even_db = 10.0 * np.log10(np.sum(np.square(amplitude[even])))
            assert band_level_dbfs([read], "even")[band] == pytest.approx(even_db, abs=0.01)
            compared += 1
    assert compared > 20


def test_a_multitone_outside_the_range_is_empty() -> None:
    _, samples = bent_and_heard()
    take = MultitoneTake(samples=np.pad(samples, 50), start=50.0)
    read = read_multitone(take, TONE, written(90.0, 9000.0))
    result = multitone_result([read], Reference())
    lines_inside = (TONE.line_hz >= 90.0) & (TONE.line_hz <= 9000.0)
    assert np.array_equal(np.isfinite(result.response.gain_db), lines_inside)
    bands_inside = (result.bands.frequency_hz >= 90.0) & (result.bands.frequency_hz <= 9000.0)
    assert np.array_equal(np.isfinite(band_level_dbfs([read], "noise")), bands_inside)
    assert np.isfinite(result.level_db)


def test_between_its_points_a_response_is_a_line_over_the_logarithm_of_frequency() -> None:
    response = MicrophoneResponse(frequency_hz=np.array([100.0, 10000.0]), level_db=np.array([2.0, -2.0]))
    np.testing.assert_allclose(response.at([100.0, 1000.0, 10000.0]), [2.0, 0.0, -2.0], rtol=0, atol=1e-12)
    assert np.isnan(response.at([99.9, 10001.0, 0.0])).all()


def test_lines_outside_the_microphones_range_are_empty_and_the_others_as_they_were() -> None:
    tone = Multitone()
    inside = (tone.line_hz >= 100.0) & (tone.line_hz <= 5000.0)
    values = np.arange(1.0, tone.line_hz.size + 1.0)
    covered = only_covered_lines(
        LinePowers(gain=1j * values, noise=2.0 * values, odd=3.0 * values), tone, written(100.0, 5000.0)
    )
    for found, expected in ((covered.gain, 1j * values), (covered.noise, 2.0 * values), (covered.odd, 3.0 * values)):
        np.testing.assert_array_equal(found[inside], expected[inside])
        assert np.isnan(found[~inside]).all()
