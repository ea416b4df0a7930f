"""Where the stimulus lies and what the clocks do, against recordings whose truth is built in."""

import math

import numpy as np
import pytest
import scipy.signal

from distort.errors import RecordingError
from distort.recording.alignment.locating import Alignment, find_reel, repair_clock
from signals import Burst, Noise, Reel, Silence, Sweep, Tone, framed
from tests.made_recordings import FloatArray, made_room, recorded, stimulus_start, with_noise

RATE = 48000
SWEEP = Sweep()
REEL = framed(SWEEP)
SHORT = framed(Sweep(seconds=2.0))
DELAY = 1000.25


def noisy(samples: FloatArray, seed: int, *, snr_db: float) -> FloatArray:
    return with_noise(samples, np.random.default_rng(seed), level_dbfs=SWEEP.drive_dbfs - snr_db)


# --- where the stimulus begins ---------------------------------------------------------------------------------------


@pytest.mark.first(2)
@pytest.mark.parametrize(("delay", "gain"), [(1000.25, 1.0), (1234.5, -0.01), (1777.9, 30.0), (48000.07, -1.0)])
def test_a_pure_delay_is_found_to_a_small_part_of_a_sample_at_20_db(delay: float, gain: float) -> None:
    """Closed form of the sweep, read at fractional moments. Noise leaves 0.0003 samples: 0.002 is seven s.d.

    Were the chirps' noise taken for a clock difference, 0.01 ppm of it, the start would scatter by 0.005.
    """
    found = find_reel(gain * noisy(recorded(REEL, delay=delay), round(delay), snr_db=20.0), REEL)
    assert abs(found.stimulus_start - stimulus_start(REEL, delay=delay)) < 0.002
    assert found.polarity == math.copysign(1, gain)


def test_without_noise_the_start_is_found_to_the_rounding_of_a_summit() -> None:
    """1e-4 samples: what the chirps' clock, off by 1e-4 ppm for their windowed tails, moves the start by at most."""
    for delay in (900.0, 900.5, 901.123):
        found = find_reel(recorded(SHORT, delay=delay), SHORT)
        assert abs(found.stimulus_start - stimulus_start(SHORT, delay=delay)) < 1e-4


@pytest.mark.parametrize("ppm", [-200.0, 90.0, 1000.0])
def test_the_start_is_right_also_when_the_clocks_differ(ppm: float) -> None:
    """Without stretching, 100 ppm smear a 10 s sweep's peak over tens of samples. 0.01 as for one clock."""
    found = find_reel(noisy(recorded(REEL, ppm=ppm), 2, snr_db=30.0), REEL)
    assert abs(found.stimulus_start - stimulus_start(REEL, ppm=ppm)) < 0.01
    # 0.02 of noise; the unstretched chirp would be found 0.5 samples off at 200 ppm
    for place, first in zip(found.chirp_positions, REEL.chirp_starts(), strict=True):
        assert abs(place - (first + DELAY) * (1.0 + 1e-6 * ppm)) < 0.02


def test_a_dispersive_loudspeaker_moves_with_its_delay() -> None:
    """The peak of a two-way response has no closed-form place, but a delay of d samples must move it by d."""
    low = scipy.signal.butter(4, 2000.0, fs=RATE, output="sos")
    high = scipy.signal.butter(4, 2000.0, "high", fs=RATE, output="sos")
    bottom = scipy.signal.butter(4, 45.0, "high", fs=RATE, output="sos")

    def through(delay: float) -> Alignment:
        played = scipy.signal.sosfilt(bottom, recorded(SHORT, delay=delay))
        return find_reel(scipy.signal.sosfilt(low, played) - scipy.signal.sosfilt(high, played), SHORT)

    first, second = through(1000.0), through(1017.37)
    assert abs(second.stimulus_start - first.stimulus_start - 17.37) < 1e-3  # a thousandth of a sample, 7 um of path
    assert abs(first.stimulus_start - stimulus_start(SHORT, delay=1000.0)) < 20  # within the crossover's own delay


@pytest.mark.parametrize("device", ["hard clip", "half rectifier", "cubic"])
def test_heavy_distortion_does_not_move_it(device: str) -> None:
    """Orders of a sweep arrive earlier by fractions of a second (L ln n). Memoryless: the delay is the input's."""
    clean = recorded(REEL, ppm=30.0)
    bent = {
        "hard clip": np.clip(clean, -0.03, 0.03),
        "half rectifier": np.maximum(clean, 0.0),
        "cubic": clean - 30.0 * clean**3,
    }[device]
    found = find_reel(noisy(bent, 3, snr_db=20.0), REEL)
    # 0.05 samples: harmonics of the top octaves fold back onto the band's upper end
    assert abs(found.stimulus_start - stimulus_start(REEL, ppm=30.0)) < 0.05
    assert abs(found.clock_difference_ppm - 30.0) < 0.1  # 20 dB and the chirps squashed


@pytest.mark.parametrize(("rt60_s", "drr_db"), [(0.4, 0.0), (1.0, -10.0)])
def test_in_a_room_the_direct_sound_is_found(rt60_s: float, drr_db: float) -> None:
    room = made_room(np.random.default_rng(4), rt60_s=rt60_s, drr_db=drr_db)
    found = find_reel(noisy(recorded(REEL, ppm=-60.0, room=room), 5, snr_db=20.0), REEL)
    # 0.05 samples: the tail begins 2 ms later, and the band's edge lets it ripple under the peak
    assert abs(found.stimulus_start - stimulus_start(REEL, ppm=-60.0)) < 0.05
    assert found.stimulus_peak_to_background_db > 26.0  # 6 dB above the threshold


def test_in_a_minute_of_recording() -> None:
    clean = np.concatenate([np.zeros(25 * RATE), recorded(REEL, extra_s=20.0)])
    assert clean.size > 60 * RATE
    found = find_reel(noisy(clean, 6, snr_db=20.0), REEL)
    assert abs(found.stimulus_start - 25 * RATE - stimulus_start(REEL)) < 0.01


def test_a_bare_sweep_is_found_and_its_clock_is_unknown() -> None:
    """Played from anything, without chirps. 150 ppm smear it; the start is then the top octave's, to some samples."""
    bare = Reel((SWEEP,))
    for ppm, within in ((0.0, 0.01), (150.0, 100.0)):
        clean = np.concatenate([np.zeros(2 * RATE), recorded(bare, ppm=ppm, extra_s=2.0)])
        found = find_reel(noisy(clean, 7, snr_db=20.0), REEL)
        assert abs(found.stimulus_start - 2 * RATE - stimulus_start(bare, ppm=ppm)) < within
        assert math.isnan(found.clock_difference_ppm)
        assert all(math.isnan(place) for place in found.chirp_positions)
        assert all(math.isnan(margin) for margin in found.peak_to_background_db)


@pytest.mark.parametrize("stimulus", [Tone(seconds=3.0), Burst(), Noise(seconds=3.0), Tone(frequency_hz=80.0)])
def test_other_stimuli_are_found_too(stimulus: Tone | Burst | Noise) -> None:
    """Delay by concatenation. Tones and bursts go by the chirps, at 20 dB to 0.005 samples: 0.03 is 6 s.d."""
    reel = framed(stimulus)
    clean = np.concatenate([np.zeros(700), -reel.samples(), np.zeros(5000)])
    found = find_reel(noisy(clean, 8, snr_db=20.0), reel)
    assert abs(found.stimulus_start - 700 - reel.only_stimulus()[0]) < 0.03
    assert found.polarity == -1
    bare = find_reel(noisy(np.concatenate([np.zeros(RATE), stimulus.samples(), np.zeros(RATE)]), 9, snr_db=20.0), reel)
    assert abs(bare.stimulus_start - RATE) < 0.1
    assert math.isnan(bare.clock_difference_ppm)


# --- the clock -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ppm", [-200.0, -0.5, 0.0, 3.0, 150.0])
def test_without_noise_the_clock_difference_is_exact(ppm: float) -> None:
    """The formulas are read at the recorder's moments. 0.001 ppm is a fortieth of what 0.1 K of air makes."""
    found = find_reel(recorded(SHORT, ppm=ppm), SHORT)
    assert abs(found.clock_difference_ppm - ppm) < 0.001


def clock_error(seed: int) -> tuple[float, float]:
    """Error in ppm, and stated 95 % uncertainty, of one random room at 30 dB; chirps 10.5 s apart."""
    random = np.random.default_rng([11, seed])
    reel = framed(Sweep(seconds=5.0))
    ppm = random.uniform(-200.0, 200.0)
    room = made_room(random, rt60_s=0.4, drr_db=random.uniform(-6.0, 6.0))
    clean = recorded(reel, ppm=ppm, room=room, delay=random.uniform(900.0, 1000.0))
    found = find_reel(with_noise(clean, random, level_dbfs=SWEEP.drive_dbfs - 30.0), reel)
    return found.clock_difference_ppm - ppm, found.clock_uncertainty_ppm


@pytest.mark.sample
def test_the_clock_in_a_room_at_30_db() -> None:
    """0.02 ppm is four standard deviations of what noise leaves (the bound of delay estimation: 0.005 ppm)."""
    assert all(abs(clock_error(seed)[0]) < 0.02 for seed in range(5))


@pytest.mark.study
def test_the_clock_in_a_hundred_rooms() -> None:
    errors, stated = np.array([clock_error(seed) for seed in range(100)]).T
    ranked = np.sort(np.abs(errors))
    print(f"clock error, ppm: median {ranked[50]:.4f}, 95th {ranked[94]:.4f}, largest {ranked[-1]:.4f}")
    assert np.count_nonzero(ranked < 0.02) >= 95
    assert np.count_nonzero(np.abs(errors) <= stated) >= 87  # of 95 expected: fewer has probability 0.001 (binomial)


@pytest.mark.study
def test_a_pure_delay_in_a_hundred_noises() -> None:
    errors = []
    for seed in range(100):
        delay = float(np.random.default_rng([12, seed]).uniform(1000.0, 1001.0))
        found = find_reel(noisy(recorded(REEL, delay=delay), seed, snr_db=20.0), REEL)
        errors.append(abs(found.stimulus_start - stimulus_start(REEL, delay=delay)))
    print(f"start error, samples: median {np.median(errors):.5f}, largest {max(errors):.5f}")
    assert np.count_nonzero(np.array(errors) < 0.01) >= 97  # three in a thousand take noise for a second clock


def test_both_chirps_are_placed_on_the_same_of_two_summits() -> None:
    """A path with two nearly equal summits, of which the other one is higher when the last chirp comes.

    By arithmetic the clocks agree. 0.02 ppm: taken at its highest, the last chirp comes 3 samples late, 8 ppm.
    """
    clean = recorded(REEL)
    paths = [np.array([1.0, 0.0, 0.0, -0.98]), np.array([0.98, 0.0, 0.0, -1.0])]
    first, last = (scipy.signal.lfilter(path, [1.0], clean) for path in paths)
    swapped = round(stimulus_start(REEL)) + SWEEP.n_samples
    alignment = find_reel(np.concatenate([first[:swapped], last[swapped:]]), REEL)
    assert alignment.clock_difference_ppm == pytest.approx(0.0, abs=0.02)


def test_one_chirp_alone_tells_no_clock() -> None:
    whole = noisy(recorded(SHORT), 10, snr_db=40.0)
    late = find_reel(whole[2 * RATE :], SHORT)
    assert math.isnan(late.chirp_positions[0])
    assert late.chirp_positions[1] == pytest.approx(SHORT.chirp_starts()[1] + DELAY - 2 * RATE, abs=0.05)
    assert math.isnan(late.clock_difference_ppm)
    assert math.isnan(late.clock_uncertainty_ppm)
    assert late.peak_to_background_db[1] > 30.0


def test_lost_samples_look_like_a_wild_clock() -> None:
    """512 samples lost between chirps D apart: -512 / D, by arithmetic."""
    whole = noisy(recorded(SHORT), 10, snr_db=40.0)
    distance = SHORT.chirp_starts()[1] - SHORT.chirp_starts()[0]
    found = find_reel(np.delete(whole, np.arange(250_000, 250_512)), SHORT)
    assert found.clock_difference_ppm == pytest.approx(-512e6 / distance, abs=0.1)  # 0.1 ppm: noise at 40 dB


# --- silences --------------------------------------------------------------------------------------------------------


def test_the_silences_are_where_the_reel_put_them() -> None:
    """From the reel's own timing: 0.7 s after the chirp, 0.95 s after the stimulus; shifted, stretched, 5 ms short."""
    for ppm in (0.0, 200.0):
        found = find_reel(noisy(recorded(SHORT, ppm=ppm), 10, snr_db=80.0), SHORT)
        expected = [(np.array(span) + DELAY) * (1.0 + 1e-6 * ppm) for span in SHORT.quiet_spans()]
        assert len(found.silences.spans) == 2
        for span, place in zip(found.silences.spans, expected, strict=True):
            assert span[0] == pytest.approx(place[0], abs=1.5)  # whole samples inside
            assert span[1] == pytest.approx(place[1] - 240, abs=1.5)


def test_silences_are_cut_to_the_recording_and_may_be_missing() -> None:
    whole = noisy(recorded(SHORT), 10, snr_db=40.0)
    first, stimulus = SHORT.only_stimulus()
    start = first + round(DELAY)
    half = find_reel(whole[start - RATE : start + stimulus.n_samples + RATE // 2], SHORT)
    assert len(half.silences.spans) == 1
    assert half.silences.spans[0][0] == 0
    assert half.silences.spans[0][1] == pytest.approx(RATE - 240, abs=2)
    assert find_reel(whole[start - 10 : start + stimulus.n_samples + 10], SHORT).silences.spans == ()


# --- what is refused -------------------------------------------------------------------------------------------------


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("other", "bare"),
    [
        (Sweep(seconds=5.0), True),
        (Sweep(seconds=12.0), False),
        (Sweep(seconds=9.0), True),
        (Sweep(seconds=9.0), False),
        (Sweep(start_hz=20.0, full_level_hz=30.0), False),
    ],
)
def test_another_sweep_is_the_wrong_stimulus(other: Sweep, bare: bool) -> None:
    reel = Reel((other,)) if bare else framed(other)
    clean = np.concatenate([np.zeros(5 * RATE), recorded(reel, extra_s=5.0)])
    with pytest.raises(RecordingError, match="another stimulus"):
        find_reel(noisy(clean, 13, snr_db=60.0), REEL)


def test_noise_alone_or_another_tone_is_the_wrong_stimulus() -> None:
    noise = np.random.default_rng(14).standard_normal(15 * RATE)
    with pytest.raises(RecordingError, match="noise drowns it"):
        find_reel(noise, REEL)
    with pytest.raises(RecordingError, match="another stimulus"):
        find_reel(framed(Tone(frequency_hz=1500.0)).samples(), framed(Tone(frequency_hz=1000.0)))
    with pytest.raises(RecordingError, match="another stimulus"):
        find_reel(framed(Noise(seed=2)).samples(), framed(Noise(seed=1)))


def test_a_recording_that_is_cut_off_says_where_and_by_how_much() -> None:
    whole = recorded(REEL)
    start = round(stimulus_start(REEL))
    with pytest.raises(RecordingError, match=r"cut off at its start: it begins 1\.25 s after"):
        find_reel(whole[start + 60_000 :], REEL)
    end = start + SWEEP.n_samples
    with pytest.raises(RecordingError, match=r"cut off at its end: it stops 1\.50 s before"):
        find_reel(whole[: end - 72_000], REEL)
    assert find_reel(whole[start - 2 : end + 2], REEL).stimulus_start == pytest.approx(2.0, abs=0.5)


def test_a_recording_shorter_than_the_stimulus_is_refused() -> None:
    with pytest.raises(RecordingError, match=r"3\.000 s long, shorter than the stimulus"):
        find_reel(np.ones(3 * RATE), REEL)


def test_silence_and_what_is_no_number_are_refused() -> None:
    with pytest.raises(RecordingError, match="silent throughout"):
        find_reel(np.zeros(20 * RATE), REEL)
    spoilt = recorded(SHORT)
    spoilt[2 * RATE] = np.nan
    with pytest.raises(RecordingError, match=r"1 samples that are no numbers, the first at 2\.000 s"):
        find_reel(spoilt, SHORT)
    with pytest.raises(ValueError, match="one channel"):
        find_reel(np.zeros((2, 20 * RATE)), REEL)


def test_the_recording_is_left_as_it_was() -> None:
    given = noisy(recorded(SHORT), 10, snr_db=40.0)
    before = given.copy()
    find_reel(given, SHORT)
    repair_clock(given, 50.0, RATE)
    np.testing.assert_array_equal(given, before)


def test_a_reel_without_chirps_will_do() -> None:
    sweep = Sweep(seconds=2.0)
    quiet = Silence(seconds=1.0)
    reel = Reel((quiet, sweep, quiet))
    found = find_reel(noisy(recorded(reel), 15, snr_db=40.0), reel)
    assert found.chirp_positions == ()
    assert abs(found.stimulus_start - stimulus_start(reel)) < 0.01
    assert len(found.silences.spans) == 2


# --- repairing the clock ---------------------------------------------------------------------------------------------


@pytest.mark.first(4)
@pytest.mark.parametrize("sample_rate", [44100, 48000, 96000])
@pytest.mark.parametrize("ppm", [200.0, -137.3, 0.37, 5000.0])
def test_tones_come_out_as_their_closed_form(sample_rate: int, ppm: float) -> None:
    """cos(2 pi f (1 + e) m / fs + phi), 20 Hz to 20 kHz. 1e-6 of amplitude is 1e-5 dB and 6e-5 degrees; the kernel is
    designed for 1e-7. 150,000 samples span three blocks."""
    place = np.arange(150_000)
    for frequency_hz in (20.0, 997.0, 10_000.0, 19_000.0, 20_000.0):
        turns = 2.0 * np.pi * frequency_hz / sample_rate
        repaired = repair_clock(np.cos(turns * place + 0.3), ppm, sample_rate)
        truth = np.cos(turns * (1.0 + 1e-6 * ppm) * np.arange(repaired.size) + 0.3)
        np.testing.assert_allclose(repaired[200:-200], truth[200:-200], rtol=0, atol=1e-6)


def test_a_repaired_recording_has_the_players_clock() -> None:
    """Closed form both ways: recorded 120 ppm fast and repaired, it is what a recorder on the player's clock writes.
    2e-6 is 2e-5 of the drive: the sweep passes 20 kHz, where the kernel begins to fall."""
    repaired = repair_clock(recorded(SHORT, ppm=120.0), 120.0, RATE)
    straight = recorded(SHORT)
    n = min(repaired.size, straight.size)
    np.testing.assert_allclose(repaired[:n], straight[:n], rtol=0, atol=2e-6)


def test_repair_keeps_the_first_sample_and_the_length_it_states() -> None:
    given = np.random.default_rng(16).standard_normal(100_000)
    for ppm in (-300.0, 300.0):
        repaired = repair_clock(given, ppm, RATE)
        assert repaired.size == math.floor(99_999 / (1.0 + 1e-6 * ppm)) + 1
        assert repaired[0] == pytest.approx(given[0], abs=1e-9)  # at a whole sample the kernel is 1 and 0
    np.testing.assert_array_equal(repair_clock(given, 0.0, RATE), given)
    assert repair_clock(np.zeros(0), 10.0, RATE).size == 0


def test_no_clock_is_that_wrong() -> None:
    for ppm in (20_000.0, math.nan):
        with pytest.raises(RecordingError, match="no clock's"):
            repair_clock(np.zeros(100), ppm, RATE)
    with pytest.raises(ValueError, match="one channel"):
        repair_clock(np.zeros((2, 100)), 10.0, RATE)
