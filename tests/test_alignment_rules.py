"""Matched filters and the places of a reel's parts: sums by hand, and each limit just on either side of where it turns,
at a low sample rate."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.assembly.condition.against_others import worst_block
from distort.errors import CutOffError, RecordingError, WrongStimulusError
from distort.recording.alignment.chirp_places import find_peaks, hear_chirp
from distort.recording.alignment.clock import repair_clock
from distort.recording.alignment.locating import _clearer, find_reel, pad_to_stimulus
from distort.recording.alignment.matched import Lags, correlate, deconvolve, stands_out_db, summit
from distort.recording.alignment.prepared import Prepared, placed, prepare, prepare_samples
from distort.recording.alignment.silences import planned_silences
from distort.session.audio.long_recording import InMemory
from signals import Chirp, Multitone, Noise, Reel, Silence, Sweep, Tone, framed

RATE = 8000
SWEEP = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)
REEL = framed(SWEEP)
LEAD = 700


def recorded(reel: Reel = REEL, *, noise: float = 1e-5, seed: int = 1) -> np.ndarray:
    samples = np.pad(reel.samples(), (LEAD, 900))
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)


# --- matched filters --------------------------------------------------------------------------------------------------


def test_parts_of_a_filters_output():
    output = Lags(np.array([1.0, -5.0, 2.0, 3.0]), -2)
    assert (output.highest(), output.at(1)) == (-1, 3.0)
    part = output.between(-1.4, 0.6)
    assert (part.values.tolist(), part.first) == ([-5.0, 2.0], -1)
    assert output.between(-9, 9).values.size == 4
    assert output.between(5, 9).values.size == 0
    assert output.between(1, 0).values.size == 0
    np.testing.assert_array_equal(output.about(1, 2), [-5.0, 2.0, 3.0, 0.0, 0.0])
    np.testing.assert_array_equal(output.about(-2, 1), [0.0, 1.0, -5.0])


def test_correlation_by_hand():
    """Signal 1, 2 in 0, 0, 1, 2, 0: 2, 5, 2 about lag 2; lags from -1 on."""
    found = correlate(np.array([0.0, 0.0, 1.0, 2.0, 0.0]), np.array([1.0, 2.0]))
    assert found.first == -1
    np.testing.assert_allclose(found.values, [0.0, 0.0, 2.0, 5.0, 2.0, 0.0], atol=1e-12)


@pytest.mark.parametrize("whole", [False, True])
def test_a_signal_itself_gives_a_peak_of_twice_the_band(whole):
    """2 (high - low), less what the edges and a regularisation of 1e-3 of the mean energy take; sign and place too."""
    signal = np.random.default_rng(2).standard_normal(2000)
    recording = np.zeros(5000)
    recording[1234:3234] = -0.5 * signal
    found = deconvolve(recording, signal, band=(0.05, 0.25), whole=whole)
    assert found.highest() == 1234
    # edges: a fifth of the band's logarithm at the bottom and a twentieth at the top, half open on average
    span = 5.0
    low, high = 0.05 * span**0.1, 0.25 / span**0.025
    assert found.at(1234) == pytest.approx(-0.5 * 2.0 * (high - low), rel=0.03)
    assert found.first == (0 if whole else -1999)
    assert found.values.size == (3001 if whole else 6999)


def test_the_summit_between_samples():
    """A band-limited pulse whose top lies 0.3 samples after a whole lag; also where the whole lag is one off."""
    place = np.arange(1024)
    for at in (512.3, 511.75):
        pulse = np.sinc(0.5 * (place - at)) * np.exp(-0.5 * ((place - at) / 60.0) ** 2)
        assert summit(Lags(pulse, 0), 512) == pytest.approx(at, abs=1e-6)
        assert summit(Lags(-pulse, 100), 612) == pytest.approx(at + 100, abs=1e-6)
    assert summit(Lags(np.zeros(1024), 0), 512) == 512.0


@pytest.mark.parametrize("side", [-1, 1])
def test_what_lies_far_beside_a_summit_does_not_pull_it(side):
    """One sample ten times as high, 250 off: under the window's edge `sin^2(pi / 2 x 12 / 256)`, 0.05 of it, is left.
    Of 512 samples one of height 1 slopes elsewhere by at most `pi / 512 (1 + cot(250 pi / 512))`: 4e-4 of the
    curvature, `(pi / 2)^2 / 3`. Unwindowed: 0.08."""
    pulse = np.sinc(0.5 * (np.arange(1024) - 512.3)) * np.exp(-0.5 * ((np.arange(1024) - 512.3) / 60.0) ** 2)
    pulse[512 + 250 * side] += 10.0
    assert summit(Lags(pulse, 0), 512) == pytest.approx(512.3, abs=1e-3)


def test_how_far_a_peak_stands_out():
    """A peak of 10 over values of 0.1 and 0.3: r.m.s. sqrt(0.05)."""
    values = np.where(np.arange(41) % 2 == 0, 0.1, 0.3)
    values[18:23] = 5.0  # within the inner distance: not counted
    values[20] = -10.0
    found = stands_out_db(Lags(values, 0), 20, inner=3.0, outer=11.0)
    around = np.concatenate([values[9:17], values[23:31]])
    assert found == pytest.approx(20 * np.log10(10.0 / np.sqrt(np.mean(around**2))))
    assert math.isnan(stands_out_db(Lags(values[20:21], 20), 20, inner=1.0, outer=5.0))


# --- places -----------------------------------------------------------------------------------------------------------


def test_a_reel_is_found_with_its_parts():
    found = find_reel(recorded(), REEL)
    first, _ = REEL.only_stimulus()
    assert found.stimulus_start == pytest.approx(LEAD + first, abs=0.01)
    assert found.chirp_positions == pytest.approx([LEAD + one for one in REEL.chirp_starts()], abs=0.01)
    assert found.clock_difference_ppm == pytest.approx(0.0, abs=0.5)
    assert found.polarity == 1
    assert all(one > 40.0 for one in found.peak_to_background_db)
    assert found.stimulus_peak_to_background_db > 30.0
    expected = [(LEAD + one, LEAD + end - 40) for one, end in REEL.quiet_spans()]  # 5 ms are kept from what follows
    for span, (begin, end) in zip(found.silences.spans, expected, strict=True):
        assert span == (pytest.approx(begin, abs=1), pytest.approx(end, abs=1))


def test_the_clock_uncertainty_is_that_of_the_chirps_noise():
    """Errors of 30 noises 25 dB below the chirps: 95 % lie within the stated interval; 24 at least (p = 0.003)."""
    noise = 10.0 ** ((SWEEP.drive_dbfs - 10.0 - 25.0) / 20.0) * np.sqrt(0.5)
    found = [find_reel(recorded(noise=noise, seed=seed), REEL) for seed in range(30)]
    errors = np.array([one.clock_difference_ppm for one in found])
    stated = np.array([one.clock_uncertainty_ppm for one in found])
    assert np.count_nonzero(np.abs(errors) <= stated) >= 24
    assert np.median(stated) < 2.0 * 1.96 * np.std(errors)


def test_upside_down_and_by_another_clock():
    samples = -repair_clock(recorded(), -150.0, RATE)  # read so, a recorder 150 ppm fast wrote it
    found = find_reel(samples, REEL)
    assert found.polarity == -1
    assert found.clock_difference_ppm == pytest.approx(150.0, abs=1.0)
    first, _ = REEL.only_stimulus()
    assert found.stimulus_start == pytest.approx((LEAD + first) * (1.0 + 150e-6), abs=0.02)


def test_a_clock_within_three_deviations_of_none_moves_nothing():
    """Where noise strays the chirps, the stimulus is looked for as it was played: its start does not stray with
    them."""
    reel = framed(Tone(frequency_hz=997.0, seconds=1.0, sample_rate=RATE))
    noise = 10.0 ** ((-30.0 - 18.0) / 20.0) * np.sqrt(0.5)
    for seed in range(5):
        samples = recorded(reel, noise=noise, seed=seed)
        found = find_reel(samples, reel)
        starts = np.array(found.chirp_positions) + reel.only_stimulus()[0] - np.array(reel.chirp_starts())
        stretch = 1.0 + 1e-6 * found.clock_difference_ppm
        clear = abs(found.clock_difference_ppm) > 3.0 * found.clock_uncertainty_ppm / 1.96
        if not clear:
            assert found.stimulus_start == pytest.approx(np.mean(starts), abs=1e-6)
        else:
            places = np.array(reel.chirp_starts())
            starts = np.array(found.chirp_positions) + (reel.only_stimulus()[0] - places) * stretch
            assert found.stimulus_start == pytest.approx(np.mean(starts), abs=1e-6)


@pytest.mark.parametrize(("missing", "may"), [(7, True), (9, False)])
def test_a_millisecond_may_be_missing_at_either_end(missing, may):
    """Eight samples: the fades are longer."""
    bare = Reel((SWEEP,))
    samples = np.pad(SWEEP.samples(), (900, 900)) + 1e-5 * np.random.default_rng(1).standard_normal(
        SWEEP.n_samples + 1800
    )
    for cut in (samples[900 + missing :], samples[: 900 + SWEEP.n_samples - missing]):
        if may:
            find_reel(cut, bare)
        else:
            with pytest.raises(CutOffError, match="cut off"):
                find_reel(cut, bare)


def test_a_recording_may_be_as_long_as_the_sweep_and_no_longer():
    assert find_reel(SWEEP.samples(), Reel((SWEEP,))).stimulus_start == pytest.approx(0.0, abs=0.01)


def test_what_is_found_in_one_of_two_ways_alone_is_taken():
    clear, faint = SimpleNamespace(stands_out_db=30.0), SimpleNamespace(stands_out_db=20.0)
    for one, other, expected in ((None, None, None), (clear, None, clear), (None, faint, faint)):
        assert _clearer(one, other) is expected
    assert _clearer(clear, faint) is _clearer(faint, clear) is clear


def test_what_is_no_recording_of_it():
    with pytest.raises(RecordingError, match="shorter than the stimulus"):
        find_reel(np.ones(SWEEP.n_samples - 1), REEL)
    with pytest.raises(WrongStimulusError, match="another stimulus"):
        find_reel(np.random.default_rng(1).standard_normal(40000), REEL)
    tone = framed(Tone(seconds=1.0, sample_rate=RATE, frequency_hz=700.0))
    with pytest.raises(WrongStimulusError):
        find_reel(recorded(tone), framed(Tone(seconds=1.0, sample_rate=RATE, frequency_hz=900.0)))


@pytest.mark.parametrize(("share", "found"), [(0.08, False), (0.125, True)])
def test_a_tone_is_a_tenth_of_what_is_heard_where_it_should_be(share, found):
    """Correlation as a share of both r.m.s.: a tone in noise whose r.m.s. is 1 / share times its own."""
    tone = Tone(seconds=2.0, sample_rate=RATE, frequency_hz=700.0, drive_dbfs=-20.0)
    bare = Reel((tone,))
    noise = np.random.default_rng(3).standard_normal(tone.n_samples + 8000)
    stretch = noise[4000 : 4000 + tone.n_samples]
    played = tone.samples()
    stretch -= played * (stretch @ played) / (played @ played)  # of the noise itself nothing is the tone
    noise *= np.linalg.norm(played) / np.linalg.norm(stretch)
    samples = noise.copy()
    samples[4000 : 4000 + tone.n_samples] += played * share / math.sqrt(1.0 - share**2)
    if found:
        assert find_reel(samples, bare).stimulus_start == pytest.approx(4000.0, abs=200.0)  # some period of it
    else:
        with pytest.raises(WrongStimulusError):
            find_reel(samples, bare)


@pytest.mark.parametrize(("over_db", "heard"), [(13.0, False), (19.0, True)])
def test_a_chirp_is_heard_16_db_over_what_comes_before_it(over_db, heard):
    """Its peak is its energy; white noise of variance s^2 makes s times the root of that."""
    chirp = REEL.items[1]
    energy = float(np.sum(chirp.samples() ** 2))
    sigma = math.sqrt(energy) * 10.0 ** (-over_db / 20.0)
    found = [find_reel(recorded(noise=sigma, seed=seed), REEL).chirp_positions for seed in range(6)]
    share = np.mean(np.isfinite(np.array(found)))
    assert share == pytest.approx(float(heard), abs=0.34)


CHIRP = Chirp(low_hz=200.0, high_hz=3800.0, seconds=0.1, sample_rate=RATE)
"""Its band, with its edges, reaches to half the sample rate: no bin can be left out."""


def chirped(place: int, *, margin_db: float) -> InMemory:
    """A chirp in white noise s, whose matched filter answers with the energy E over the r.m.s. s sqrt(E)."""
    samples = np.zeros(12000)
    samples[place : place + CHIRP.n_samples] = CHIRP.samples()
    sigma = math.sqrt(float(np.sum(CHIRP.samples() ** 2))) * 10.0 ** (-margin_db / 20.0)
    samples += sigma * np.random.default_rng(6).standard_normal(samples.size)
    return InMemory(what="it", sample_rate=RATE, samples=samples)


def test_a_chirp_that_reaches_to_half_the_sample_rate_is_found():
    found = find_peaks(chirped(5000, margin_db=60.0), CHIRP)
    assert found.place == pytest.approx([5000.0], abs=1.0)
    assert found.likeness == pytest.approx([1.0], abs=0.01)


def test_how_far_a_chirp_stands_above_the_noise_before_it():
    """E / (s sqrt(E)), by hand; the r.m.s. of 1,900 values is known to 0.15 dB, the peak to 1 % of itself: three times
    their sum. The response is kept from 3 ms before the chirp's place to 21 ms after it."""
    heard = hear_chirp(chirped(5000, margin_db=40.0), CHIRP, near=5003.0, clock=0.0)
    assert heard.margin_db == pytest.approx(40.0, abs=0.7)
    assert heard.place == pytest.approx(5000.0, abs=0.02)
    assert heard.polarity == 1
    assert heard.response.size == 24 + 168
    assert int(np.argmax(np.abs(heard.response))) == 24


def test_silences_of_the_reel_in_the_recording():
    """Stretched by the clock, 5 ms short at their end, cut to what was recorded, and at least 0.5 s long."""
    sweep = Sweep(seconds=1.0, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0)
    reel = Reel((Silence(seconds=1.0, settle_s=0.25, sample_rate=RATE), sweep, Silence(seconds=2.0, sample_rate=RATE)))
    after = 10000.0 + sweep.n_samples
    spans = planned_silences(reel, start=10000.0, n_recorded=60000)
    assert spans == ((4000, 9960), (round(after), round(after) + 16000 - 40))
    assert planned_silences(reel, start=10000.25, n_recorded=60000)[0] == (4001, 9960)
    stretched = planned_silences(reel, start=10000.0, n_recorded=60000, stretch=1.01)
    assert stretched[0] == (math.ceil(10000.0 - 6060.0), 9960)
    assert stretched[1] == (
        math.ceil(10000 + 1.01 * sweep.n_samples),
        math.floor(10000 + 1.01 * (sweep.n_samples + 16000)) - 40,
    )
    assert planned_silences(reel, start=5000.0, n_recorded=60000)[0] == (0, 4960)
    for end, count in ((round(after) + 4000, 2), (round(after) + 3999, 1)):
        assert len(planned_silences(reel, start=10000.0, n_recorded=end)) == count


def test_what_is_missing_is_made_whole_with_zeros():
    samples = np.ones(SWEEP.n_samples)
    same, start = pad_to_stimulus(samples, start=0.4, stimulus=SWEEP)
    assert same is samples
    assert start == 0.4
    before, start = pad_to_stimulus(samples, start=-3.25, stimulus=SWEEP)
    assert (before[:4].tolist(), before[4], start) == ([0.0] * 4, 1.0, 0.75)
    after, start = pad_to_stimulus(samples, start=5.5, stimulus=SWEEP)
    assert (after.size, after[-5:].tolist(), start) == (samples.size + 5, [0.0] * 5, 5.5)
    pad_to_stimulus(samples, start=8000.0, stimulus=SWEEP)
    for wrong in (8001.0, -8001.0):
        with pytest.raises(RecordingError, match="bring the recording in again"):
            pad_to_stimulus(samples, start=wrong, stimulus=SWEEP)


def test_a_recording_is_prepared():
    """On the player's clock what lay at sample p lies at p / (1 + e); steps are those of the middle of what was
    stored."""
    step = 2.0**-12
    stored = np.round(recorded(noise=1e-3) / step) * step
    first = LEAD + REEL.only_stimulus()[0]
    plain = prepare_samples(stored, REEL, start=float(first))
    assert (plain.start, plain.step) == (first, step)
    assert plain.samples is stored
    assert [one.size for one in plain.silences] == [
        end - begin for begin, end in planned_silences(REEL, start=float(first), n_recorded=stored.size)
    ]
    np.testing.assert_array_equal(
        plain.silences[0], stored[LEAD + REEL.quiet_spans()[0][0] :][: plain.silences[0].size]
    )
    repaired = prepare_samples(stored, REEL, start=float(first), clock_difference_ppm=200.0)
    assert repaired.start == pytest.approx(first / (1.0 + 200e-6))
    assert repaired.samples.size == math.floor((stored.size - 1) / (1.0 + 200e-6)) + 1
    assert repaired.step == step
    assert prepare_samples(stored, REEL, start=float(first), as_stored=np.array([0.0, 0.5])).step == 0.5


@pytest.mark.parametrize(("rate", "ppm"), [(RATE, None), (RATE, 200.0), (RATE // 2, -150.0)])
def test_a_recording_placed_is_that_which_is_prepared(rate, ppm):
    """Recorded at another rate or by another clock: the same samples, and the same start, without the silences."""
    samples = recorded()[:: RATE // rate]
    sidecar = SimpleNamespace(
        stimulus=REEL.only_stimulus()[1],
        reel=REEL,
        sample_rate=rate,
        stimulus_start_sample=float(LEAD + REEL.only_stimulus()[0]) * rate / RATE,
        clock_difference_ppm=ppm,
    )
    recording = SimpleNamespace(sidecar=sidecar, samples=lambda: samples)
    whole = prepare(recording)
    there, start = placed(recording)
    np.testing.assert_array_equal(there, whole.samples)
    assert start == whole.start


def test_clocks_are_repaired_up_to_ten_thousand_ppm():
    samples = np.ones(1000)
    repair_clock(samples, 10_000.0, RATE)
    for wrong in (10_001.0, -10_001.0):
        with pytest.raises(RecordingError, match="no clock's"):
            repair_clock(samples, wrong, RATE)
    assert repair_clock(np.ones(2), 500.0, RATE).size == 1


# --- beside another take ----------------------------------------------------------------------------------------------


def prepared(samples: np.ndarray, *, start: float = 4000.0, quiet: float = 1e-5, seed: int = 1) -> Prepared:
    silence = quiet * np.random.default_rng(seed).standard_normal(8000)
    return Prepared(samples=samples, start=start, silences=(silence,))


def test_two_takes_differ_by_what_came_in_one_block():
    """A click of energy E in a tenth of a second: `E / 800` over the noises of both and -50 dB of the signal, by
    hand."""
    played = np.pad(0.1 * np.sin(2 * np.pi * 0.05 * np.arange(8000)), 4000)
    clicked = played.copy()
    clicked[4000 + 3 * 800 + 17] += 0.05
    excess_db, at_s = worst_block(prepared(clicked), prepared(played, seed=2), n_samples=8000, rate=RATE)
    assert at_s == pytest.approx(0.3)
    noise = 2e-10
    block = clicked[4000 + 2400 : 4000 + 3200]
    shape = np.stack([played[6400:7200], np.gradient(played[4000:12000])[2400:3200]], axis=1)
    left = block - shape @ np.linalg.lstsq(shape, block, rcond=None)[0]
    expected = 10 * np.log10(np.mean(left**2) / (noise + 1e-5 * np.mean(block**2)))
    assert excess_db == pytest.approx(expected, abs=0.1)  # the silences hold 8,000 values: 0.07 dB
    assert expected == pytest.approx(10 * np.log10(0.0025 / 800 / (noise + 1e-5 * 0.005)), abs=0.2)


def test_the_last_block_is_looked_at_as_well():
    played = np.pad(0.1 * np.sin(2 * np.pi * 0.05 * np.arange(8000)), 4000)
    clicked = played.copy()
    clicked[4000 + 8000 - 300] += 0.05
    excess_db, at_s = worst_block(prepared(clicked), prepared(played, seed=2), n_samples=8000, rate=RATE)
    assert at_s == pytest.approx(0.9)
    assert excess_db > 10.0


def test_gains_and_delays_are_no_difference():
    """0.5 dB louder and 0.1 samples later; each take read at its own fraction of a sample."""
    place = np.arange(16000)
    takes = [g * 0.1 * np.sin(2 * np.pi * 0.02 * (place - d)) for g, d in ((1.0, 0.0), (1.06, 0.1))]
    assert worst_block(prepared(takes[0]), prepared(takes[1]), n_samples=8000, rate=RATE)[0] < 0.0
    moved = 0.1 * np.sin(2 * np.pi * 0.02 * (place - 7.4))
    assert worst_block(prepared(takes[0]), prepared(moved, start=4007.4), n_samples=8000, rate=RATE)[0] < -5.0


def test_a_multitone_and_noise_are_found_as_well():
    tone = Multitone(low_hz=200.0, high_hz=3600.0, period_s=0.25, sample_rate=RATE, periods=4, lines_per_decade=10.0)
    hiss = Noise(low_hz=200.0, high_hz=3500.0, seconds=1.0, sample_rate=RATE)
    for stimulus in (tone, hiss):
        reel = framed(stimulus)
        found = find_reel(recorded(reel), reel)
        assert found.stimulus_start == pytest.approx(LEAD + reel.only_stimulus()[0], abs=0.05)
        bare = Reel((stimulus,))
        alone = np.pad(stimulus.samples(), (500, 800))
        assert find_reel(alone, bare).stimulus_start == pytest.approx(500.0, abs=0.3)
    other = replace(hiss, seed=9)
    with pytest.raises(WrongStimulusError):
        find_reel(recorded(framed(other)), framed(hiss))
