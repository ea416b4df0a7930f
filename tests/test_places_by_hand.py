"""Where chirps and stimuli are sought and placed: each step of it on a filter output written down by hand."""

import math

import numpy as np
import pytest
import scipy.signal

from distort.errors import CutOffError
from distort.recording.alignment.chirp_places import (
    _Search,
    _strongest,
    as_recorded,
    find_peaks,
    hear_chirp,
    place_sigma,
)
from distort.recording.alignment.locating import (
    _chirp_lag,
    _chirp_stands_out,
    _Chirps,
    _cut,
    _find_chirps,
    _first_of_pair,
    _require_whole,
    _same_summit,
    _start_by_chirps,
)
from distort.recording.alignment.lows import _share_above, through_lows
from distort.recording.alignment.matched import Lags, correlate, deconvolve
from distort.session.audio.long_recording import InMemory
from signals import Chirp, Multitone, Reel, Silence, Sweep, framed

RATE = 8000
CHIRP = Chirp(low_hz=500.0, high_hz=3600.0, seconds=0.1, sample_rate=RATE, drive_dbfs=-20.0)
SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)


def peaks(*places: tuple[int, float], size: int = 6000, first: int = 0) -> Lags:
    """An output that is 0 but at the places, which count from its first value."""
    values = np.zeros(size)
    for place, height in places:
        values[place] = height
    return Lags(values, first)


# --- the pair ---------------------------------------------------------------------------------------------------------


def test_a_pair_is_two_peaks_at_the_distance_and_as_strong_as_the_weaker_of_them():
    """One strong peak alone, with nothing at the distance, is none; lags count from the first."""
    output = peaks((900, 9.0), (1200, -3.0), (3200, 2.0), (1500, 2.5), (3500, -2.5), first=-99)
    assert _first_of_pair(output, 2000) == 1500 - 99


@pytest.mark.parametrize(("off", "found"), [(50, True), (51, False), (-50, True), (-51, False)])
def test_the_second_of_a_pair_may_be_off_by_half_a_chirp(off, found):
    """Chirps of 100 samples, 2,000 apart: two thousandths of that are less."""
    output = peaks((1000, 2.0), (3000 + off, 2.0), (1500, 1.0), (3500, 1.0), first=-99)
    assert _first_of_pair(output, 2000) == (901 if found else 1401)


@pytest.mark.parametrize(("off", "found"), [(80, True), (81, False)])
def test_or_by_two_thousandths_of_a_long_distance(off, found):
    output = peaks((1000, 2.0), (41000 + off, 2.0), (1500, 1.0), (41500, 1.0), size=50000, first=-99)
    assert _first_of_pair(output, 40000) == (901 if found else 1401)


def test_what_is_shorter_than_the_distance_holds_no_pair():
    assert _first_of_pair(peaks((0, 1.0), size=2000), 2000) is None
    assert _first_of_pair(peaks((0, 1.0), (2000, 1.0), size=2001), 2000) == 0


# --- one chirp --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(("off", "found"), [(100, True), (101, False)])
def test_a_chirp_is_sought_within_its_own_length_about_where_it_should_lie(side, off, found):
    """Twice half a chirp of 100 samples (once for the clock, once for the coarse place), of a reel of 2,000."""
    place = 3000 + side * off - (side > 0)  # up to before the end of that stretch
    output = peaks((place, -5.0), (3000, 1.0), first=-99)
    output = Lags(output.values, -99)
    assert _chirp_lag(output, 3000 - 99, 2000, n_recorded=5901) == (place - 99 if found else 2901)


def test_a_chirp_lies_whole_in_the_recording():
    """Of 1,000 samples, of which a chirp takes 100, it may begin at 0 to 900; else there is none."""
    output = peaks((98, 9.0), (99, 1.0), (999, 2.0), (1000, 9.0), size=1099, first=-99)
    assert _chirp_lag(output, 30, 1000, n_recorded=1000) == 0
    assert _chirp_lag(output, 890, 1000, n_recorded=1000) == 900
    assert _chirp_lag(output, 1200, 1000, n_recorded=1000) is None


def test_a_chirp_stands_out_of_what_came_before_it():
    """From a quarter of a second to 10 ms before it; where less than 50 ms lie there, of what comes 0.3 to 0.5 s after
    it. By hand: 20 lg of the height over the r.m.s., a value of 1,920 more or less (0.002 dB)."""
    values = np.full(9000, 7.0)
    lag = 4000
    values[lag - 2000 : lag - 80] = np.where(np.arange(1920) < 960, 0.1, 0.3)
    values[lag + 2400 : lag + 4000] = 0.5
    values[lag] = -10.0
    expected_db = 20.0 * math.log10(10.0 / math.sqrt((0.1**2 + 0.3**2) / 2.0))
    assert _chirp_stands_out(Lags(values, 0), lag, CHIRP) == pytest.approx(expected_db, abs=0.003)
    short = Lags(values[lag - 481 :], lag - 481)  # 401 samples are more than 50 ms
    assert _chirp_stands_out(short, lag, CHIRP) == pytest.approx(20.0 * math.log10(10.0 / 0.3))
    shorter = Lags(values[lag - 480 :], lag - 480)
    assert _chirp_stands_out(shorter, lag, CHIRP) == pytest.approx(20.0 * math.log10(10.0 / 0.5))


def dispersed(height: float, *, size: int = 2001) -> np.ndarray:
    """Two summits of nearly one height, 20 samples apart, on either side of the middle."""
    place = np.arange(size) - size // 2
    return np.exp(-0.5 * ((place + 10) / 3.0) ** 2) + height * np.exp(-0.5 * ((place - 10) / 3.0) ** 2)


@pytest.mark.parametrize("highest", [-10, 10])
def test_the_last_chirp_is_placed_on_the_summit_on_which_the_first_was(highest):
    """Whichever was taken for its highest: a change of level over frequency made the other one so."""
    first, last = Lags(dispersed(0.99), 0), Lags(dispersed(1.01), 500)
    assert _same_summit(first, 1000 - 10, last, 1500 + highest) == 1500 - 10
    assert _same_summit(last, 1500 + 10, first, 1000 + highest) == 1000 + 10


@pytest.mark.parametrize(("height", "kept"), [(0.67, True), (0.73, False)])
def test_a_summit_below_seven_tenths_is_no_other(height, kept):
    """On the first output only the lower one was there: on the last it must be nearly as high as the highest."""
    first = np.exp(-0.5 * ((np.arange(2001) - 1000) / 3.0) ** 2)
    first[1000 - 24 : 1000 - 16] = 0.2  # something before it
    last = np.exp(-0.5 * ((np.arange(2001) - 1020) / 0.4) ** 2) + height * first
    found = _same_summit(Lags(first, 0), 1000, Lags(last, 0), 1020)
    assert found == (1020 if kept else 1000)


# --- cutting and starting ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "end", "expected"),
    [
        (1, 3, [2, 3]),
        (-2, 2, [0, 0, 1, 2]),
        (2, 6, [3, 4, 0, 0]),
        (-1, 5, [0, 1, 2, 3, 4, 0]),
        (-3, -1, [0, 0]),
        (5, 7, [0, 0]),
    ],
)
def test_what_a_recording_lacks_is_cut_as_zeros(first, end, expected):
    assert _cut(np.array([1.0, 2.0, 3.0, 4.0]), first, end).tolist() == expected


def test_the_chirps_alone_say_where_the_stimulus_begins():
    """The mean of what each says that was found, the way from it to the stimulus as the recorder's clock counts it."""
    reel = framed(SWEEP)
    first, _ = reel.only_stimulus()
    one, other = reel.chirp_starts()
    clock = 1e-3
    both = _Chirps((100.0 + one, 104.0 + other), (30.0, 30.0), clock, 1e-5, 1)
    expected = np.mean([100.0 + one + (first - one) * 1.001, 104.0 + other + (first - other) * 1.001])
    assert _start_by_chirps(both, reel) == pytest.approx(expected)
    alone = _Chirps((math.nan, 104.0 + other), (math.nan, 30.0), math.nan, math.nan, 1)
    assert _start_by_chirps(alone, reel) == pytest.approx(104.0 + first)
    assert _start_by_chirps(_Chirps((math.nan, math.nan), (), math.nan, math.nan, 1), reel) is None


@pytest.mark.parametrize(("sigmas", "used"), [(2.9, False), (3.1, True), (-2.9, False), (-3.1, True)])
def test_a_clock_is_used_that_lies_three_deviations_off_none(sigmas, used):
    chirps = _Chirps((0.0, 1.0), (20.0, 20.0), sigmas * 1e-6, 1e-6, 1)
    assert chirps.clock_to_use == (sigmas * 1e-6 if used else 0.0)


@pytest.mark.parametrize(
    ("start", "recorded", "stretch", "said"),
    [
        (-7.6, 30000, 1.0, None),
        (-8.4, 30000, 1.0, "begins 0.00 s after"),
        (1000.0, 1000 + 8000 - 7, 1.0, None),
        (1000.0, 1000 + 8000 - 9, 1.0, "stops 0.00 s before"),
        (1000.0, 1000 + 8000, 1.001 - 0.1 / 8000, None),
        (1000.0, 1000 + 8000, 1.001 + 0.5 / 8000, "at its end"),
        (-16000.0, 30000, 1.0, "begins 2.00 s after"),
        (1000.0, 5000, 1.0, "stops 0.50 s before"),
    ],
)
def test_a_thousandth_of_a_second_may_be_missing(start, recorded, stretch, said):
    stimulus = Silence(seconds=1.0, sample_rate=RATE)  # nothing but its length is asked for
    if said is None:
        _require_whole(start, recorded, stimulus, stretch)
    else:
        with pytest.raises(CutOffError, match=said):
            _require_whole(start, recorded, stimulus, stretch)


@pytest.mark.parametrize("lost", [0, 1])
def test_two_chirps_tell_the_clock_and_one_alone_does_not(lost):
    """A recorder 200 ppm fast: the distance of both chirps is that much longer, found to a hundredth of a sample."""
    reel = framed(SWEEP)
    played = np.pad(reel.samples(), 700) + 1e-6 * np.random.default_rng(1).standard_normal(reel.n_samples + 1400)
    samples = as_recorded(played, 2e-4, RATE)
    chirp = reel.chirps()[0][1]
    starts = [(700 + one) * 1.0002 for one in reel.chirp_starts()]
    found = _find_chirps(samples, reel, correlate(samples, chirp.samples()), 700)
    assert found.positions == pytest.approx(starts, abs=0.01)
    assert found.clock_difference == pytest.approx(2e-4, abs=0.02 / (starts[1] - starts[0]))
    sigma = math.hypot(*(place_sigma(chirp, margin) for margin in found.stands_out_db))
    assert found.clock_sigma == pytest.approx(sigma / (reel.chirp_starts()[1] - reel.chirp_starts()[0]))
    at = round(starts[lost])
    samples[at - 10 : at + chirp.n_samples + 10] = 0.0
    found = _find_chirps(-samples, reel, correlate(-samples, chirp.samples()), 700)
    assert [math.isnan(one) for one in found.positions] == [lost == 0, lost == 1]
    assert [math.isnan(one) for one in found.stands_out_db] == [lost == 0, lost == 1]
    assert math.isnan(found.clock_difference)
    assert found.polarity == -1


# --- chirps in long recordings ----------------------------------------------------------------------------------------


def test_of_peaks_near_one_another_the_strongest_is_kept():
    """Nearer than 10 samples; as far as that they are two, on one side."""
    place = np.array([0.0, 5.0, 9.0, 19.0, 40.0, 49.0, 51.0])
    likeness = np.array([0.5, 0.6, 0.9, 0.4, 0.3, 0.8, 0.7])
    found = _strongest(place, likeness, apart=10.0)
    assert found.place.tolist() == [9.0, 19.0, 49.0]
    assert found.likeness.tolist() == [0.9, 0.4, 0.8]


def test_the_exactness_of_a_place_is_the_bound_of_cramer_and_rao():
    """`1 / (omega_rms snr)`; a chirp's energy is even between 500 and 3,600 Hz but for its fades, which take some of
    either end alike: the root mean square of an even band is `sqrt((a^2 + a b + b^2) / 3)`. Raised
    cosines over a tenth of it at either end leave 3 / 8 of the energy there: moments about the middle, 2,050 Hz, are
    those of a band 10 % narrower to 1 %."""
    half = 0.5 * 3100.0
    omega = 2.0 * math.pi * math.sqrt(2050.0**2 + (0.9 * half) ** 2 / 3.0) / RATE
    assert place_sigma(CHIRP, 40.0) == pytest.approx(0.01 / omega, rel=0.01)
    assert place_sigma(CHIRP, 20.0) == pytest.approx(10.0 * place_sigma(CHIRP, 40.0))


def test_a_recorder_that_is_fast_writes_more_samples():
    """A sine of 0.01 turns a sample, as one of 0.01 / 1.01; a clock that agrees changes nothing."""
    sine = np.sin(0.02 * np.pi * np.arange(4000))
    assert as_recorded(sine, 0.0, RATE) is sine
    longer = as_recorded(sine, 0.005, RATE)
    assert longer.size == pytest.approx(4000 * 1.005, abs=1.5)
    middle = np.arange(500, 3500)
    np.testing.assert_allclose(longer[middle], np.sin(0.02 * np.pi * middle / 1.005), atol=1e-4)


def test_likeness_is_a_correlation_over_both_norms():
    """Of a chirp half covered by another tone of the band: the share of the energy that it has, by sums over both. Only
    lags at which the chirp lies whole in the block are there, one in `factor` samples."""
    search = _Search.of(CHIRP)
    block = np.zeros(search.n_block)
    tone = np.sin(2.0 * np.pi * 1500.0 * np.arange(CHIRP.n_samples) / RATE)
    chirp = CHIRP.samples()
    tone *= 0.7 * np.linalg.norm(chirp) / np.linalg.norm(tone)
    block[30000 : 30000 + chirp.size] = -3.0 * (chirp + tone)
    likeness = search.likeness(block)
    expected = abs(chirp @ (chirp + tone)) / np.linalg.norm(chirp) / np.linalg.norm(chirp + tone)
    at = round(30000 / search.factor)
    assert np.max(likeness[at - 1 : at + 2]) == pytest.approx(expected, abs=0.02)
    assert likeness.size == search.n_out - round(chirp.size / search.factor) + 1
    assert search.n_block >= 20 * RATE
    assert np.max(search.likeness(np.zeros(search.n_block))) == 0.0


def test_the_band_of_a_search_is_the_chirps_own():
    """Whole between its edges, gone a twentieth of an octave beyond; half way in between over the logarithm."""
    search = _Search.of(Chirp(low_hz=500.0, high_hz=2000.0, seconds=0.1, sample_rate=RATE))
    hz = np.arange(search.weight.size) * RATE / search.n_block
    edge = 2.0**0.05
    np.testing.assert_allclose(search.weight[(hz >= 500.0) & (hz <= 2000.0)], 1.0, atol=1e-12)
    assert np.max(search.weight[(hz < 500.0 / edge) | (hz > 2000.0 * edge)]) == 0.0
    for middle in (500.0 / edge**0.5, 2000.0 * edge**0.5):
        assert np.interp(middle, hz, search.weight) == pytest.approx(0.5, abs=1e-3)
    assert hz[-1] > 2000.0 * edge


@pytest.mark.parametrize(("share", "found"), [(0.19, 0), (0.212, 1)])
def test_a_place_is_looked_at_from_a_likeness_of_two_tenths_on(share, found):
    """A chirp under a tone of its band that has no part of it: its share of both is its likeness. The chirp and what is
    put over it are of one length, so elsewhere the likeness is less."""
    chirp = CHIRP.samples()
    over = np.random.default_rng(4).standard_normal(12000)
    sos = scipy.signal.butter(8, (600.0, 3400.0), "bandpass", fs=RATE, output="sos")
    over = scipy.signal.sosfilt(sos, over)
    stretch = over[5000 : 5000 + chirp.size]
    stretch -= chirp * (stretch @ chirp) / (chirp @ chirp)
    stretch *= np.linalg.norm(chirp) / np.linalg.norm(stretch)
    stretch *= math.sqrt(1.0 / share**2 - 1.0)
    stretch += chirp
    lonely = np.zeros(12000)
    lonely[5000 : 5000 + chirp.size] = stretch
    places = find_peaks(InMemory(what="it", sample_rate=RATE, samples=lonely), CHIRP)
    assert np.count_nonzero(np.abs(places.place - 5000.0) < 3.0) == found


def test_chirps_are_found_in_every_block_and_where_two_meet():
    """One across the end of the first block of 20 s, one near its beginning, one in the last samples."""
    chirp = CHIRP.samples()
    search = _Search.of(CHIRP)
    n = search.n_block + 9000
    at = [0, search.n_block - 300, n - chirp.size]
    samples = np.zeros(n)
    for place in at:
        samples[place : place + chirp.size] += chirp
    found = find_peaks(InMemory(what="it", sample_rate=RATE, samples=samples), CHIRP)
    strong = found.likeness > 0.9
    assert found.place[strong] == pytest.approx(at, abs=1.5)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize(("off", "found"), [(38, True), (42, False)])
def test_a_chirp_is_heard_within_five_milliseconds_of_its_place(side, off, found):
    chirp = CHIRP.samples()
    samples = 1e-5 * np.random.default_rng(1).standard_normal(12000)
    samples[5000 : 5000 + chirp.size] += chirp
    heard = hear_chirp(
        InMemory(what="it", sample_rate=RATE, samples=samples), CHIRP, near=5000.0 + side * off, clock=0.0
    )
    assert (abs(heard.place - 5000.0) < 0.01) == found
    if found:
        assert heard.shift == pytest.approx(heard.place - 5000.0, abs=1e-9)
        assert heard.sigma == place_sigma(CHIRP, heard.margin_db)


# --- lows -------------------------------------------------------------------------------------------------------------


def test_the_share_of_the_energy_above_an_edge():
    """Sines of 1 and 2 on bins of the transform: 4 of 5 parts above; an offset is no energy."""
    time = np.arange(4000)
    samples = 3.0 + np.sin(2 * np.pi * 0.05 * time) + 2.0 * np.sin(2 * np.pi * 0.2 * time)
    assert _share_above(samples, 0.1) == pytest.approx(0.8, abs=1e-6)
    assert _share_above(samples, 0.2) == pytest.approx(0.0, abs=1e-6)
    assert _share_above(np.ones(10), 0.1) == 0.0


LOW = Sweep(seconds=2.0, sample_rate=RATE, start_hz=20.0, full_level_hz=25.0, stop_hz=3900.0)


@pytest.mark.parametrize(("share", "taken"), [(0.0095, True), (0.0105, False)])
def test_a_recording_of_next_to_nothing_above_five_octaves_is_read_through_its_lows(share, taken):
    """A hundredth of the energy: sines of 100 and 1,000 Hz, five octaves above 25 Hz being 800."""
    time_s = np.arange(4 * RATE) / RATE
    low, high = np.sin(2 * np.pi * 100.0 * time_s), np.sin(2 * np.pi * 1000.0 * time_s)
    samples = math.sqrt(1.0 - share) * low + math.sqrt(share) * high
    found = through_lows(samples, LOW, LOW.samples())
    assert (found is not None) == taken
    if taken:
        band = (25.0 / RATE, 800.0 / RATE)
        np.testing.assert_array_equal(found.values, deconvolve(samples, LOW.samples(), band=band).values)


@pytest.mark.parametrize(("low_hz", "taken"), [(0.98, True), (1.02, False)])
def test_a_sweep_has_an_octave_more_than_those_five(low_hz, taken):
    fade_out_hz = SWEEP.fade_out_hz
    full_hz = low_hz * fade_out_hz / 64.0
    sweep = Sweep(seconds=2.0, sample_rate=RATE, start_hz=0.8 * full_hz, full_level_hz=full_hz, stop_hz=SWEEP.stop_hz)
    samples = np.sin(2 * np.pi * 60.0 * np.arange(3 * RATE) / RATE)
    assert (through_lows(samples, sweep, sweep.samples()) is not None) == taken


def test_what_is_no_sweep_is_not_read_through_lows():
    tone = Multitone(low_hz=20.0, high_hz=3000.0, period_s=0.5, sample_rate=RATE, lines_per_decade=5.0)
    assert through_lows(np.sin(0.01 * np.arange(9000)), tone, tone.samples()) is None


# --- regularised division ---------------------------------------------------------------------------------------------


def test_a_weak_part_of_a_signals_band_is_held_down():
    """Division by the energy plus 1e-3 of its mean over the band: a bin of no more than that share counts half. Two
    samples, 1 and g, have the energy `1 + g^2 + 2 g cos`, from `(1 + g)^2` to `(1 - g)^2`."""
    signal = np.array([1.0, 0.9])
    recording = np.zeros(4096)
    recording[100:102] = signal
    found = deconvolve(recording, signal, band=(0.02, 0.4999))
    n = 4096 + 1
    length = found.values.size
    assert length == n
    spectrum = np.fft.rfft(np.roll(found.values, -found.first if found.first < 0 else 0), length)
    energy = 1.81 + 1.8 * np.cos(2.0 * np.pi * np.arange(spectrum.size) / length)
    middle = (np.arange(spectrum.size) / length > 0.05) & (np.arange(spectrum.size) / length < 0.4)
    mean = 1.81  # near enough: of the whole circle; the band leaves out a little at either end
    expected = energy / (energy + 1e-3 * mean)
    np.testing.assert_allclose(np.abs(spectrum)[middle], expected[middle], rtol=2e-3)


def test_a_reel_without_chirps_tells_no_clock():
    found = _find_chirps(np.ones(100), Reel((SWEEP,)), None, 0)
    assert found.positions == found.stands_out_db == ()
    assert math.isnan(found.clock_difference)
    assert found.clock_to_use == 0.0
    assert found.polarity == 1
