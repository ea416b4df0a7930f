"""Whether a dip is minimum-phase, step by step: how far a phase turns, what its magnitude implies, how much of the late
sound counts, and each verdict from both sides of its limits; and the fine curves that this is read from."""

from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.anomalies.fine_response import FineResponse, Impulse, fine_response
from distort.analysis.anomalies.minimum_phase import PhaseJudge, _found, implied_phase_rad, turn_rad
from distort.analysis.common.smoothing import PowerSpectrum
from distort.analysis.hearing.dips import with_dip_filled

LINEAR_HZ = np.arange(0.0, 1001.0)


def cubic(size: float, *, above_alone: bool = False) -> np.ndarray:
    """`size (f - 500)^3 / 50^3`, which turns by -24 times `size` over 50 Hz either side more than on the flanks that
    end 150 Hz from there: 2 - (26 + 26) / 2. Above 500 Hz alone by half of it: 1 - (0 + 26) / 2."""
    x = (LINEAR_HZ - 500.0) / 50.0
    return np.asarray(size * x**3 * ((x > 0.0) if above_alone else 1.0))


# --- how far it turns -------------------------------------------------------------------------------------------------


def test_a_turn_is_that_across_the_dip_less_that_of_its_flanks():
    assert turn_rad(LINEAR_HZ, cubic(0.1), 500.0, half_width_hz=50.0) == pytest.approx(-2.4)
    lopsided = cubic(0.1, above_alone=True)
    assert turn_rad(LINEAR_HZ, lopsided, 500.0, half_width_hz=50.0) == pytest.approx(-1.2)
    assert turn_rad(LINEAR_HZ, lopsided[::-1], 500.0, half_width_hz=50.0) == pytest.approx(1.2)
    assert turn_rad(LINEAR_HZ, 3.0 - 0.2 * LINEAR_HZ, 500.0, half_width_hz=50.0) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(turn_rad(LINEAR_HZ, LINEAR_HZ, 500.0, half_width_hz=0.0))
    assert np.isnan(turn_rad(LINEAR_HZ, LINEAR_HZ, 500.0, half_width_hz=-1.0))
    assert turn_rad(LINEAR_HZ, cubic(0.1), 500.0, half_width_hz=0.5) == pytest.approx(-2.4e-6, abs=2e-5)  # rows of 1 Hz


def test_the_implied_phase_is_that_of_a_minimum_phase_bell():
    """`(1 + g s / Q + s^2) / (1 + s / Q + s^2)` with its own phase (closed form), far from the ends of the band."""
    f = 20.0 * 2.0 ** (np.arange(480) / 48.0)
    for centre_hz, gain in ((300.0, 3.0), (900.0, 1.0 / 3.0)):
        s = 1j * f / centre_hz
        bell = (1.0 + gain * s / 2.0 + s**2) / (1.0 + s / 2.0 + s**2)
        found = implied_phase_rad(f, 20.0 * np.log10(np.abs(bell)))
        inner = (f > 60.0) & (f < 5000.0)
        np.testing.assert_allclose(found[inner], np.angle(bell)[inner], atol=0.01)  # what lies beyond turns it so far


# --- the verdict ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratios", "verdict"),
    [
        ([0.47], "unknown"),
        ([0.53], "minimum-phase"),
        ([1.57], "minimum-phase"),
        ([1.63], "unknown"),
        ([-0.48], "unknown"),
        ([-0.52], "not-minimum-phase"),
        ([-5.8], "not-minimum-phase"),
        ([-6.2], "unknown"),
        ([0.60, 0.53, 0.45], "unknown"),  # 0.08 either way
        ([0.55, 0.53, 0.52], "minimum-phase"),
        ([1.50, 1.57, 1.65], "unknown"),
        ([-0.45, -0.53, -0.60], "unknown"),
        ([-5.8, -6.1, -5.6], "unknown"),
        ([-5.8, -5.9, -5.7], "not-minimum-phase"),
        ([1.0, np.nan, 1.0], "unknown"),
    ],
)
def test_a_ratio_of_turns_is_judged_with_its_uncertainty(ratios, verdict):
    found = _found(ratios)
    assert found.verdict == verdict
    if np.isnan(ratios).any():
        assert (found.ratio, found.uncertainty) == (None, None)
    else:
        middle = sorted(ratios)[len(ratios) // 2]
        assert found.ratio == middle
        far = max(abs(one - middle) for one in ratios)
        assert found.uncertainty == (pytest.approx(far) if len(ratios) > 1 else None)


def judge(impulse: object = None, *, f: np.ndarray = LINEAR_HZ, phase: np.ndarray | None = None) -> PhaseJudge:
    level_db = np.linspace(3.0, 5.0, f.size)
    phase = np.zeros(f.size) if phase is None else phase
    return PhaseJudge(FineResponse(frequency_hz=f, level_db=level_db, phase_rad=phase, impulse=impulse))


@pytest.mark.parametrize(
    ("implied", "measured", "ratio"),
    [
        (1.0, 0.8, 0.8),
        (1.0, -0.8, -0.8),
        (-2.0, -1.0, 0.5),
        (1.0, 0.9 + 2.0 * np.pi, 0.9),  # turns that an unwrapped phase took too many
        (1.0, -0.9 - 4.0 * np.pi, -0.9),
        (1.0, 1.0 + 3.0, 4.0),  # nearer to 1 than 1 less a turn is
        (1.0, 1.0 + 3.3, 4.3 - 2.0 * np.pi),
        (-1.0, -1.0 - 3.3, -(-4.3 + 2.0 * np.pi)),
        (0.125, 0.125, 1.0),
        (-0.125, 0.125, -1.0),
        (0.115, 0.115, np.nan),  # 0.12 rad at least
        (-0.115, 0.115, np.nan),
        (np.nan, 1.0, np.nan),
        (1.0, np.nan, np.nan),
    ],
)
def test_the_ratio_of_the_turns(implied, measured, ratio, monkeypatch):
    monkeypatch.setattr(PhaseJudge, "_phases", lambda self, early: (cubic(-measured / 24.0), cubic(-implied / 24.0)))
    assert judge()._ratio(None, 500.0, 50.0) == pytest.approx(ratio, nan_ok=True)


@pytest.mark.parametrize(
    ("centre_hz", "half_width_hz", "kept_hz"),
    [(500.0, 60.0, 60.0), (500.0, 140.0, 130.0), (230.0, 60.0, 40.0), (800.0, 60.0, 30.0)],
)
def test_flanks_of_three_half_widths_stay_inside_the_band(centre_hz, half_width_hz, kept_hz):
    """110 to 890 Hz."""
    within = judge(f=np.arange(110.0, 891.0))
    assert within._reach_hz(centre_hz, half_width_hz) == pytest.approx(kept_hz)


@pytest.mark.parametrize(("doublings", "first"), [(-7.3, -15), (-7.2, -14), (-7.0, -14), (-6.8, -14)])
def test_early_sounds_last_one_and_a_half_inverse_widths_and_more(doublings, first, monkeypatch):
    """The nearest of half doublings of a second to `1.5 / (2 half_width)`, that and the next two."""
    asked = []

    def ratio(self, early, centre_hz, half_width_hz):
        asked.append((early, centre_hz, half_width_hz))
        return 1.0

    monkeypatch.setattr(PhaseJudge, "_ratio", ratio)
    half_width_hz = 0.75 * 2.0**-doublings
    given = judge(object(), f=np.arange(20.0, 4000.0))
    assert given.judged(2000.0, half_width_hz=half_width_hz).verdict == "minimum-phase"
    assert asked == [(first + step, 2000.0, pytest.approx(half_width_hz)) for step in range(3)]
    asked.clear()
    judge().judged(500.0, half_width_hz=300.0)
    assert asked == [(None, 500.0, pytest.approx(500.0 / 3.0))]
    nothing = FineResponse(frequency_hz=LINEAR_HZ, level_db=LINEAR_HZ, phase_rad=None)
    assert PhaseJudge(nothing).judged(500.0, half_width_hz=50.0).verdict == "unknown"


def test_level_and_phase_are_both_those_of_the_early_sound():
    """Within 2^(early / 2) s, computed once; without an impulse those of all sound."""
    f = 20.0 * 2.0 ** (np.arange(480) / 48.0)
    asked = []

    def early(frequency_hz, within_s):
        asked.append(within_s)
        return np.where(frequency_hz > 900.0, 6.0, 0.0), 7.0 + frequency_hz

    given = judge(SimpleNamespace(early=early), f=f, phase=2.0 * f)
    phase, implied = given._phases(-5)
    np.testing.assert_array_equal(phase, 7.0 + f)
    np.testing.assert_array_equal(implied, implied_phase_rad(f, np.where(f > 900.0, 6.0, 0.0)))
    assert given._phases(-5)[0] is phase
    assert asked == [pytest.approx(2.0**-2.5)]
    for whole in (given._phases(None), judge(f=f, phase=2.0 * f)._phases(-5)):
        np.testing.assert_array_equal(whole[0], 2.0 * f)
        np.testing.assert_array_equal(whole[1], implied_phase_rad(f, np.linspace(3.0, 5.0, f.size)))


# --- fine curves ------------------------------------------------------------------------------------------------------


def impulse_of(arrivals: dict[int, float], rate: int = 1000, size: int = 1000) -> Impulse:
    samples = np.zeros(size)
    for place, height in arrivals.items():
        samples[place] = height
    spectrum = SimpleNamespace(bin_hz=rate / size, at_arrival=lambda: np.fft.rfft(samples))
    return Impulse(spectrum, rate)


def test_an_early_spectrum_holds_what_arrives_before_and_after_alike():
    """Within 50 samples: whole up to half of 51, then along a raised cosine to 0; what arrives later is left out."""
    heights = {0: 1.0, 25: 0.2, 30: 0.3, -40: 0.25, 50: 4.0, 51: 5.0, -60: 6.0}
    given = impulse_of(heights)
    np.testing.assert_allclose(given.samples[[0, 25, -40]], [1.0, 0.2, 0.25])
    f = np.array([10.0, 33.3, 120.7, 401.2])
    level_db, phase = given.early(f, 0.0509)

    def weight(place: int) -> float:
        inside = min(max((1.0 - abs(place) / 51.0) / 0.5, 0.0), 1.0)
        return 0.5 - 0.5 * float(np.cos(np.pi * inside))

    expected = sum(weight(k) * height * np.exp(-2j * np.pi * f * k / 1000.0) for k, height in heights.items())
    # straight between bins of 1000 / 32768 Hz
    np.testing.assert_allclose(level_db, 20.0 * np.log10(np.abs(expected)), atol=1e-4)
    np.testing.assert_allclose(np.exp(1j * phase), expected / np.abs(expected), atol=1e-4)
    assert np.max(np.abs(np.diff(given.early(np.arange(1.0, 499.0), 0.0509)[1]))) < 1.0  # unwrapped


def test_all_of_a_short_impulse_counts_once():
    """Sample 500 of 1,000 is as far before as after it: it belongs to neither."""
    f = np.array([77.0])
    for size, place in ((1000, 500), (1001, None)):
        plain, beside = impulse_of({0: 1.0}, size=size), impulse_of({0: 1.0, 500: 1e6}, size=size)
        same = np.isclose(plain.early(f, 9.0)[0][0], beside.early(f, 9.0)[0][0])
        assert same == (place == 500)


def test_a_fine_response_is_read_48_times_an_octave():
    """Octaves of 10^0.3; mean power over a forty-eighth of one; the phase of a delay of 1 ms is -2 pi f / 1000. Up to
    where the sweep begins to fade out, or to what is asked for."""
    bins_hz = 2.0 * np.arange(1200)
    power = np.where(bins_hz < 500.0, 4.0, 0.25) + np.where(bins_hz == 800.0, 30.0, 0.0)
    values = np.sqrt(power) * np.exp(-2j * np.pi * bins_hz * 1e-3)
    spectrum = SimpleNamespace(bin_hz=2.0, power=PowerSpectrum(power, 2.0), at_arrival=lambda: values)
    sweep = SimpleNamespace(fade_out_hz=990.0, sample_rate=4800)
    separated = SimpleNamespace(spectra=(spectrum, None), sweep=sweep)
    found = fine_response(separated, lowest_hz=100.0, highest_hz=2000.0)
    rows = int(48.0 * np.log10(9.9) / 0.3)
    f = 100.0 * 10.0 ** (0.3 * np.arange(rows) / 48.0)
    np.testing.assert_allclose(found.frequency_hz, f)
    np.testing.assert_allclose(found.phase_rad, -2.0 * np.pi * f * 1e-3, atol=1e-9)
    np.testing.assert_allclose(found.level_db, 10.0 * np.log10(PowerSpectrum(power, 2.0).smoothed(f, 1.0 / 48.0)))
    assert found.level_db[0] == pytest.approx(10.0 * np.log10(4.0))
    assert found.smoothing_octaves == pytest.approx(1.0 / 48.0)
    assert (found.impulse.spectrum, found.impulse.sample_rate) == (spectrum, 4800)
    lower = fine_response(separated, lowest_hz=100.0, highest_hz=400.0)
    assert lower.frequency_hz[-1] == pytest.approx(100.0 * 10.0 ** (0.3 * 95.0 / 48.0))  # 96.3 rows


# --- a dip that is filled ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hertz", "depth_db", "gain_db"),
    [
        (1000.0, 6.0, 6.0),
        (1000.0 * 2.0 ** (1.0 / 6.0), 6.0, 3.0),  # half of it, half of a third of an octave away
        (1000.0 * 2.0 ** (-1.0 / 6.0), 6.0, 3.0),
        (1000.0 * 2.0 ** (1.0 / 3.0), 6.0, 6.0 / 16.0),  # a bell: the square of the distance counts
        (1000.0, 19.0, 19.0),
        (1000.0, 30.0, 20.0),
    ],
)
def test_a_dip_is_filled_by_a_bell_without_a_change_of_phase(hertz, depth_db, gain_db):
    """Of a tone that begins and ends a tenth of a second from what is compared; 20 dB at most. A tone of that length
    is some hertz wide, within which the gain is straight to 1e-3."""
    t = np.arange(16000) / 8000.0
    tone = np.sin(2.0 * np.pi * hertz * t) * np.hanning(t.size)
    found = with_dip_filled(tone, 8000, frequency_hz=1000.0, depth_db=depth_db, width_octaves=1.0 / 3.0)
    assert found.size == tone.size
    np.testing.assert_allclose(found, 10.0 ** (gain_db / 20.0) * tone, atol=2e-3 * 10.0 ** (gain_db / 20.0))


def test_what_a_gain_rings_before_the_first_sample_does_not_come_back_at_the_end():
    """An impulse at the beginning; and silence below what is filled, down to 0 Hz, keeps its level."""
    click = np.zeros(700)
    click[0] = 1.0
    found = with_dip_filled(click, 8000, frequency_hz=1000.0, depth_db=12.0, width_octaves=0.1)
    assert np.max(np.abs(found[-20:])) < 1e-6
    steady = with_dip_filled(np.ones(700), 8000, frequency_hz=1000.0, depth_db=12.0, width_octaves=0.1)
    np.testing.assert_allclose(steady[300:400], 1.0, atol=5e-3)
