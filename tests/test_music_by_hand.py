"""Music against its quiet recording, one step at a time: how a recording is cut, the gains for good and from moment to
moment, and each power and part of a third octave, by the formulas of the module written out."""

from types import SimpleNamespace

import numpy as np
import pytest
import scipy.fft

from distort.analysis import heard, programme
from distort.analysis.programme import (
    CutRecording,
    ProgrammeLevel,
    ProgrammeTake,
    against_quiet,
    cut_samples,
    cut_to_piece,
    envelope,
    gain_for_good,
    moving_gain,
)

RATE, SIZE, SECONDS = 4000, 6000, 1.5
HZ = scipy.fft.rfftfreq(SIZE, 1.0 / RATE)
RANDOM = np.random.default_rng(12)


def complex_noise(size: int) -> np.ndarray:
    return np.asarray(RANDOM.standard_normal(size) + 1j * RANDOM.standard_normal(size))


def recording(spectrum: np.ndarray, noise: float | np.ndarray = np.nan) -> CutRecording:
    return CutRecording(frequency_hz=HZ, spectrum=spectrum, noise=np.full(HZ.size, noise), seconds=SIZE / RATE)


GAIN = 1.5 + 0.3 * complex_noise(HZ.size)
QUIET = recording(300.0 * complex_noise(HZ.size), 1e-3)
LOUD = recording(1.2 * GAIN * QUIET.spectrum + 600.0 * complex_noise(HZ.size), 5e-3)

# --- how a recording is cut -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [9000, 10000, 16384])
def test_a_cut_lasts_to_what_sounds_of_the_room(size):
    """10 ms before and 150 ms after the piece: 640 samples of 4 kHz. These sizes make fast transforms, one more does
    not."""
    assert scipy.fft.next_fast_len(size, real=True) == size < scipy.fft.next_fast_len(size + 1, real=True)
    assert cut_samples(size - 640, RATE) == size
    assert cut_samples(size - 639, RATE) > size


@pytest.mark.parametrize("start", [100.0, 100.25, 1900.5, 20.75, -900.0, 9000.0])
def test_a_recording_is_cut_10_ms_before_the_piece_and_turned_by_the_fraction_of_a_sample(start):
    samples = 1.0 + np.arange(2000.0)
    found = cut_to_piece(ProgrammeTake(samples=samples, start=start, silences=()), 500, RATE)
    place = int(np.floor(start)) - 40 + np.arange(500)
    piece = np.where((place >= 0) & (place < 2000), 1.0 + place, 0.0)
    for since in (np.arange(500), 499 - np.arange(500)):
        piece = piece * np.sin(0.5 * np.pi * np.minimum(since / 40.0, 1.0)) ** 2
    hz = np.arange(251) * RATE / 500
    turned = np.fft.rfft(piece) * np.exp(2j * np.pi * hz * (start - np.floor(start)) / RATE)
    np.testing.assert_allclose(found.frequency_hz, hz)
    np.testing.assert_allclose(found.spectrum, turned, atol=1e-6)
    assert found.seconds == 0.125
    assert np.isnan(found.noise).all()


def test_bins_have_the_mean_square_of_the_cut_and_the_density_of_the_silence(monkeypatch):
    asked = []

    def density(silences, *, sample_rate):
        asked.append((silences, sample_rate))
        return SimpleNamespace(frequency_hz=np.array([0.0, 2000.0]), density=np.array([1.0, 3.0]))

    monkeypatch.setattr(programme, "noise_density", density)
    tone = 0.3 * np.sin(2.0 * np.pi * 1000.0 * np.arange(2000) / RATE)
    silences = (tone[:9],)
    found = cut_to_piece(ProgrammeTake(samples=tone, start=100.0, silences=silences), 1000, RATE)
    assert asked == [(silences, RATE)]
    np.testing.assert_allclose(found.noise, 1.0 + found.frequency_hz / 1000.0)
    # two faded ends of 40 samples lack 5/8 of their power each, and half a sample, as each begins with its 0
    expected = 0.045 * (1.0 - 2.0 * (40.0 * 0.625 + 0.5) / 1000.0)
    assert found.scale * np.sum(np.abs(found.spectrum) ** 2) == pytest.approx(expected, rel=1e-3)


def test_an_envelope_has_the_sum_of_the_squares_of_its_bins():
    """Two values an independent one; its turns go up from the band's first bin."""
    bins = complex_noise(40)
    found = envelope(bins)
    assert found.size == 80
    turns = np.exp(2j * np.pi * np.outer(np.arange(80), np.arange(40)) / 80.0)
    np.testing.assert_allclose(found, turns @ bins, atol=1e-9)
    assert programme.mean_square(found) == pytest.approx(np.sum(np.abs(bins) ** 2))


# --- the gain for good ------------------------------------------------------------------------------------------------

BANDS_HZ = 500.0 * 10.0 ** (np.arange(3) / 10.0)
OCTAVES = np.log2(np.maximum(HZ, HZ[1]) / 500.0)


def test_a_gain_that_is_straight_over_octaves_is_found_exactly():
    """The mean over a twelfth of an octave, weighted by the music's power, of what is straight is its value where that
    power lies. Beyond the outermost it holds: from half an octave below the bands to four twelfths above them."""
    straight = (2.0 - 1.0j) + (0.5 + 0.3j) * OCTAVES
    found = gain_for_good(QUIET, recording(straight * QUIET.spectrum), BANDS_HZ)
    part, weight = np.round(12.0 * OCTAVES), np.abs(QUIET.spectrum) ** 2
    highest = int(np.ceil(12.0 * np.log2(BANDS_HZ[-1] / 500.0))) + 4
    ends = [np.average(OCTAVES[part == one], weights=weight[part == one]) for one in (-6, highest)]
    held = (2.0 - 1.0j) + (0.5 + 0.3j) * np.clip(OCTAVES, *ends)
    np.testing.assert_allclose(found, held, atol=1e-9)


def test_a_gain_is_fitted_over_each_twelfth_by_least_squares():
    """`sum conj(Q) L / sum |Q|^2` where the music's power lies in it, straight between."""
    found = gain_for_good(QUIET, LOUD, BANDS_HZ)
    q, at, values = QUIET.spectrum, [], []
    for one in range(-6, int(np.ceil(12.0 * np.log2(BANDS_HZ[-1] / 500.0))) + 5):
        inside = np.round(12.0 * OCTAVES) == one
        power = np.abs(q[inside]) ** 2
        at.append(np.sum(power * OCTAVES[inside]) / np.sum(power))
        values.append(np.sum(np.conj(q[inside]) * LOUD.spectrum[inside]) / np.sum(power))
    values = np.array(values)
    expected = np.interp(OCTAVES, at, values.real) + 1j * np.interp(OCTAVES, at, values.imag)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_the_gain_of_the_last_whole_twelfth_holds_to_the_end():
    """Bands up to 1.6 kHz, of 2 kHz: the twelfth that ends with the bins is not whole."""
    bands_hz = np.array([500.0, 1600.0])
    straight = 1.0 + 0.5 * OCTAVES
    found = gain_for_good(QUIET, recording(straight * QUIET.spectrum), bands_hz)
    part = np.round(12.0 * OCTAVES)
    last = part == part[-1] - 1
    at = np.average(OCTAVES[last], weights=np.abs(QUIET.spectrum[last]) ** 2)
    assert found[-1] == pytest.approx(1.0 + 0.5 * at)


# --- the gain that moves ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("width_hz", "seconds", "window_s"), [(200.0, 1.0, 0.15), (40.0, 2.0, 0.2), (50.0, 2.0, 0.16)])
def test_the_moving_gain_and_what_it_follows_are_those_of_its_matrix(width_hz, seconds, window_s):
    """The fit at a moment is linear in what is heard: `c a = M l` with `M_ts = a_t w(t - s) conj(a_s) / sum_u w(t - u)
    |a_u|^2`. Of even noise, uncorrelated from point to point, `l - M l` lacks the share `(2 tr M - |M|^2) / n`
    (textbook), counted in independent values. Windows of 0.15 s, or of eight values."""
    n = 240
    played = complex_noise(n) * (1.0 + np.arange(n) / n)
    heard_then = complex_noise(n)
    moving, followed = moving_gain(played, heard_then, seconds=seconds, width_hz=width_hz)
    points = round(window_s * n / seconds) | 1
    steps = np.arange(n)[:, None] - np.arange(n)[None, :]
    window = np.where(np.abs(steps) <= points // 2, np.cos(np.pi * steps / (points + 1)) ** 2, 0.0)
    power = np.abs(played) ** 2
    weight = window @ power
    np.testing.assert_allclose(moving, (window @ (np.conj(played) * heard_then)) / weight, rtol=1e-4)
    matrix = played[:, None] * window * np.conj(played)[None, :] / weight[:, None]
    share = (2.0 * np.trace(matrix).real - np.sum(np.abs(matrix) ** 2)) / n
    assert followed == pytest.approx(share * n / (width_hz * seconds), rel=1e-4)


def test_a_window_has_three_points_at_least():
    """Here 0.15 s are less than one: weights of 1/2, 1 and 1/2."""
    played, heard_then = np.ones(8, dtype=complex), np.arange(8.0) + 0j
    moving, _ = moving_gain(played, heard_then, seconds=8.0, width_hz=100.0)
    np.testing.assert_allclose(moving[1:-1], np.arange(1.0, 7.0), rtol=1e-4)
    assert moving[0] == pytest.approx(0.5 / 1.5, rel=1e-4)


# --- one third octave -------------------------------------------------------------------------------------------------

MIDDLE_HZ = 800.0
LOW_HZ, HIGH_HZ = 800.0 * 10.0**-0.05, 800.0 * 10.0**0.05
INSIDE = (HZ >= LOW_HZ) & (HZ < HIGH_HZ)
WIDTH_HZ = HIGH_HZ - LOW_HZ
SCALE = 2.0 / SIZE**2
FOR_GOOD = (10.0**0.1 - 1.0) * 12.0 / (WIDTH_HZ * SECONDS)
"""Twelfths of an octave over independent values."""
FOLLOWED = 0.2


@pytest.fixture
def moving(monkeypatch) -> np.ndarray:
    """A gain that moves, in place of the fit."""
    given = 0.7 + 0.2 * complex_noise(envelope(QUIET.spectrum[INSIDE]).size)
    for module in (programme, heard):
        monkeypatch.setattr(module, "moving_gain", lambda *_, **__: (given, FOLLOWED))
    return np.asarray(given)


def squares(values: np.ndarray) -> float:
    return float(np.mean(np.abs(values) ** 2))


def test_powers_of_a_third_octave_by_the_formulas(moving):
    """`S = mean |c a|^2` less the noise of the quiet recording through both gains; `mean |l - c a|^2 / (1 - p)`, p
    with what the gain for good follows, less the noise of both."""
    found = programme._band(QUIET, LOUD, GAIN, MIDDLE_HZ)
    a, loud = envelope((GAIN * QUIET.spectrum)[INSIDE]), envelope(LOUD.spectrum[INSIDE])
    through = 1e-3 * np.mean(np.abs(GAIN[INSIDE]) ** 2) * squares(moving) * WIDTH_HZ
    noise = through + 5e-3 * WIDTH_HZ
    left = 1.0 - FOLLOWED - FOR_GOOD
    assert found["noise"] == pytest.approx(noise)
    assert found["quiet"] == pytest.approx(SCALE * np.sum(np.abs(QUIET.spectrum[INSIDE]) ** 2) - 1e-3 * WIDTH_HZ)
    assert found["left"] == pytest.approx(SCALE * squares(moving * a) - through)
    assert found["added"] == pytest.approx(SCALE * squares(loud - moving * a) / left - noise)
    assert found["left_then"] == pytest.approx(SCALE * programme._of_moments(moving * a, SECONDS))
    assert found["added_then"] == pytest.approx(SCALE / left * programme._of_moments(loud - moving * a, SECONDS))
    assert (found["left"], found["added"]) > (0.0, 0.0)


def test_takes_of_a_level_are_averaged(monkeypatch):
    takes = [ProgrammeTake(samples=np.zeros(9), start=start, silences=()) for start in (0.0, 1.0, 2.0)]
    monkeypatch.setattr(programme, "cut_to_piece", lambda take, size, rate: (take.start, size, rate))
    monkeypatch.setattr(programme, "_compared", lambda before, one, bands_hz: {"left": bands_hz * one[0] + before[0]})
    found = against_quiet(takes[0], takes[1:], n_samples=10000, sample_rate=RATE, bands_hz=BANDS_HZ)
    np.testing.assert_allclose(found["left"], 1.5 * BANDS_HZ)
    one = against_quiet(takes[0], takes[1:2], n_samples=10000, sample_rate=RATE, bands_hz=BANDS_HZ)
    np.testing.assert_allclose(one["left"], BANDS_HZ)


@pytest.mark.parametrize("bands_hz", [[500.0], [500.0, 630.0]])
def test_each_third_octave_is_compared_with_the_gain_for_good(bands_hz, monkeypatch):
    monkeypatch.setattr(programme, "gain_for_good", lambda quiet, loud, bands_hz: GAIN)
    monkeypatch.setattr(programme, "_band", lambda quiet, loud, gain, middle_hz: {"left": middle_hz * abs(gain[1])})
    found = programme._compared(QUIET, LOUD, np.array(bands_hz))
    np.testing.assert_allclose(found["left"], np.array(bands_hz) * abs(GAIN[1]))


@pytest.mark.parametrize(("floor_db", "counts"), [(-13.2, True), (-12.4, False), (np.nan, False)])
def test_bands_count_that_noise_leaves_a_coherence_of_0_95(floor_db, counts):
    """1 / (1 + 10^(-1.28)) = 0.95."""
    one = np.full(1, floor_db)
    level = ProgrammeLevel(
        level_db_spl=90.0,
        change_db=one,
        coherence=one,
        remainder_db=one,
        floor_db=one,
        excitation_db=one,
        schroeder_db=one,
    )
    assert level.judgeable(np.array([1000.0])).counts.tolist() == [counts]


def parts_of(intended: np.ndarray, *, quiet: CutRecording = QUIET, loud: CutRecording = LOUD, gain: np.ndarray = GAIN):
    return heard._band(quiet, loud, intended, (gain, MIDDLE_HZ))


@pytest.mark.parametrize("size", [100.0, 3000.0])
def test_parts_of_a_third_octave_by_the_formulas(size, moving, monkeypatch):
    """`(H - 1) intended`, `(c - 1) H intended`, `L - c H Q`; each but the last silent up to twice what it follows by
    chance of what was added. What is silent is no change: it stays in what was added."""
    asked = []

    def without_noise(left, noise, *, seconds, width_hz):
        asked.append((left, noise, seconds, width_hz))
        return left

    monkeypatch.setattr(heard, "_without_noise", without_noise)
    intended = size * complex_noise(HZ.size)
    found = parts_of(intended)
    a, loud = envelope((GAIN * QUIET.spectrum)[INSIDE]), envelope(LOUD.spectrum[INSIDE])
    meant, changed = envelope(intended[INSIDE]), envelope((GAIN * intended)[INSIDE])
    chance = squares(loud - moving * a) / (1.0 - FOLLOWED - FOR_GOOD)
    parts = {"linear change": changed - meant, "compression": (moving - 1.0) * changed}
    told = {
        name: squares(part) > 2.0 * share * chance
        for (name, part), share in zip(parts.items(), (FOR_GOOD, FOLLOWED), strict=True)
    }
    assert told == dict.fromkeys(parts, size > 1000.0)
    for name, part in parts.items():
        np.testing.assert_allclose(found.parts[name], part if told[name] else 0.0 * part)
    constant = a if told["linear change"] else envelope(QUIET.spectrum[INSIDE])
    left, noise, seconds, width_hz = asked[0]
    np.testing.assert_allclose(left, loud - (moving if told["compression"] else 1.0) * constant)
    both = (1e-3 * np.mean(np.abs(GAIN[INSIDE]) ** 2) * squares(moving) + 5e-3) * WIDTH_HZ
    assert (noise, seconds, width_hz) == pytest.approx((both / SCALE, SECONDS, WIDTH_HZ))
    assert found.noise == pytest.approx(both)
    assert found.first == int(np.flatnonzero(INSIDE)[0])
    expected = SCALE * np.sum(np.abs(QUIET.spectrum[INSIDE]) ** 2) - 1e-3 * WIDTH_HZ
    assert found.intended == pytest.approx(expected)
    unknown = parts_of(intended, quiet=recording(QUIET.spectrum))
    assert unknown.intended == pytest.approx(SCALE * np.sum(np.abs(QUIET.spectrum[INSIDE]) ** 2))


@pytest.mark.parametrize("share", [1.01, 0.99])
def test_each_part_is_held_against_its_own_chance(share, moving, monkeypatch):
    """A linear change just above and just below twice the share of the gain for good: the compression with it is far
    from twice its own."""
    monkeypatch.setattr(heard, "_without_noise", lambda left, *_, **__: left)
    intended = complex_noise(HZ.size)
    a, loud = envelope((GAIN * QUIET.spectrum)[INSIDE]), envelope(LOUD.spectrum[INSIDE])
    chance = squares(loud - moving * a) / (1.0 - FOLLOWED - FOR_GOOD)
    meant, changed = envelope(intended[INSIDE]), envelope((GAIN * intended)[INSIDE])
    for name, part, followed in (
        ("linear change", changed - meant, FOR_GOOD),
        ("compression", (moving - 1.0) * changed, FOLLOWED),
    ):
        factor = np.sqrt(share * 2.0 * followed * chance / squares(part))
        assert np.any(parts_of(factor * intended).parts[name]) == (share > 1.0)


# --- the path ---------------------------------------------------------------------------------------------------------


def through_path(arrivals: dict[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """An impulse that arrives at these times with these heights: what is heard, and what comes through its path."""
    heights = np.zeros(SIZE)
    for at_s, height in arrivals.items():
        heights[40 + round(at_s * RATE)] = height  # the piece begins 10 ms after the cut
    heard_then = np.asarray(scipy.fft.rfft(heights))
    piece = np.array([1.0, 0.0, 0.0])
    return heights, scipy.fft.irfft(heard._through_path(piece, heard_then, size=SIZE, sample_rate=RATE), SIZE)


@pytest.mark.parametrize(("steps", "part", "share"), [(None, 1.0, 15.0 / 16.0), (1, None, 1.0 / 1.001)])
def test_a_path_is_found_in_four_steps_each_a_thousandth_short(steps, part, share, monkeypatch):
    """Of a piece of one impulse, whose |P|^2 is 1 everywhere, a step leaves `e / (1 + e)` of what was not found: four
    steps a sixteenth with e = 1, one step 1 / 1001 with e = 1e-3."""
    monkeypatch.setattr(heard, "_path_window", lambda size, rate: np.ones(size))
    for name, value in (("PATH_STEPS", steps), ("LEAST_PART", part)):
        if value is not None:
            monkeypatch.setattr(heard, name, value)
    heights, found = through_path({0.0: 1.0, 0.03: 0.5})
    np.testing.assert_allclose(found, share * heights, atol=1e-9)


def test_what_arrives_after_the_path_is_not_in_it():
    heights, found = through_path({0.0: 1.0, 0.03: 0.5, 0.6: 0.25})
    heights[40 + round(0.6 * RATE)] = 0.0
    np.testing.assert_allclose(found, heights, atol=1e-9)


@pytest.mark.parametrize(("over", "told"), [(4.2, 1.0), (3.8, 0.0)])
def test_music_stands_out_of_the_noise_from_four_times_its_power(over, told):
    """Of a density N a bin of 1 / T Hz has N / T."""
    height = np.full(HZ.size, 1j * np.sqrt(over * 1e-6 / SECONDS / SCALE))
    assert set(heard._above_noise(recording(height, 1e-6))) == {told}
    assert set(heard._above_noise(recording(height))) == {1.0}


@pytest.mark.parametrize(("n", "seconds", "weights"), [(8, 8.0, 3), (40, 1.0, 7)])
def test_noise_is_held_against_an_odd_number_of_points_three_at_least(n, seconds, weights):
    """A single point of power 100 beside a noise of 1: over its Hann weights it has `100 / sum`, less that."""
    left = np.zeros(n, dtype=complex)
    left[4] = 10.0
    window = np.sin(np.pi * np.arange(1, weights + 1) / (weights + 1)) ** 2
    power = 100.0 / np.sum(window)
    found = heard._without_noise(left, 1.0, seconds=seconds, width_hz=1000.0)
    np.testing.assert_allclose(found, np.sqrt(1.0 - 1.0 / power) * left, atol=1e-9)


# --- the whole of it --------------------------------------------------------------------------------------------------


def test_the_quiet_recording_is_raised_by_the_change_of_drive(monkeypatch):
    """Its spectrum by 20 dB, so its noise, a power, by 100 times. What is below the noise has neither path nor gain;
    envelopes go back to where their bands begin, and all sounds are those of the cut."""
    asked: dict[str, object] = {}
    told = np.where(np.arange(HZ.size) < 1500, 1.0, 0.0)
    path = complex_noise(HZ.size)
    quiet_take, loud_take = (ProgrammeTake(samples=np.zeros(9), start=at, silences=()) for at in (0.0, 1.0))
    size = cut_samples(3000, RATE)

    def cut(take, n, rate):
        assert (n, rate) == (size, RATE)
        return QUIET if take is quiet_take else LOUD

    def band(before, after, intended, at):
        asked.setdefault("before", before)
        asked.setdefault("intended", intended)
        asked.setdefault("gain", at[0])
        first = int(at[1])
        each = {name: np.full(8, height + 0j) for name, height in zip(heard.PARTS, (1.0, 2.0, 3.0), strict=True)}
        return heard._Band(first=first, parts=each, intended=at[1], noise=2.0 * at[1])

    monkeypatch.setattr(heard, "cut_to_piece", cut)
    monkeypatch.setattr(heard, "_above_noise", lambda before: told)
    monkeypatch.setattr(heard, "_through_path", lambda piece, spectrum, size, sample_rate: path)
    monkeypatch.setattr(heard, "gain_for_good", lambda before, after, bands_hz: GAIN)
    monkeypatch.setattr(heard, "_band", band)
    bands_hz = np.array([100.0, 200.0])
    found = heard.heard_parts(
        quiet_take, loud_take, piece=np.zeros(3000), sample_rate=RATE, bands_hz=bands_hz, louder_db=20.0
    )
    np.testing.assert_allclose(asked["before"].spectrum, 10.0 * QUIET.spectrum)
    np.testing.assert_allclose(asked["before"].noise, 0.1)
    assert asked["before"].seconds == QUIET.seconds
    np.testing.assert_allclose(asked["intended"], told * path)
    np.testing.assert_allclose(asked["gain"], told * GAIN)
    np.testing.assert_allclose(found.intended, scipy.fft.irfft(told * path, size))
    assert found.intended_power.tolist() == [100.0, 200.0]
    assert found.noise_power.tolist() == [200.0, 400.0]
    for sound, height in ((found.linear, 1.0), (found.compression, 2.0), (found.distortion, 3.0)):
        lines = np.zeros(HZ.size, dtype=complex)
        lines[[100, 200]] = height  # of a constant envelope only the first bin of its band is not nought
        np.testing.assert_allclose(sound, scipy.fft.irfft(lines, size), atol=1e-12)
    np.testing.assert_allclose(found.remainder, found.linear + found.compression + found.distortion)
