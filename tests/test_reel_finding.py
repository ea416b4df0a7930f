"""Reels found in longer recordings, and every reason for which one is refused."""

import math

import numpy as np
import pytest
import scipy.signal

from distort.capture.reel.finding import find_session_reel, require_whole
from distort.capture.reel.levels import chirp_levels, require_same_level
from distort.errors import RecordingError
from distort.session.audio.long_recording import InMemory
from signals.levels import FULL_SCALE_SINE_RMS, db_to_amplitude
from tests.made_recordings import made_room
from tests.made_reels import Recorder, plan_of, record, session_reel

REEL = session_reel(plan_of())
RECORDER = Recorder(rate=44100, ppm=87.0, delay_s=3.2, gain=-0.3)
CHIRP_RMS = FULL_SCALE_SINE_RMS * float(db_to_amplitude(REEL.chirp.drive_dbfs))


def noisy(samples, recorder, random, *, below_db):
    """With white noise `below_db` under the chirps."""
    sigma = abs(recorder.gain) * CHIRP_RMS * 10.0 ** (-below_db / 20.0)
    return samples + sigma * random.standard_normal(samples.size)


@pytest.fixture(scope="module")
def clean():
    return noisy(record(REEL, RECORDER), RECORDER, np.random.default_rng(7), below_db=30.0)


def judged(samples, recorder=RECORDER, reels=(REEL,)):
    """The reel, if the recording is whole and at one level."""
    recording = InMemory(what="take.wav", sample_rate=recorder.rate, samples=samples)
    found = find_session_reel(recording, reels)
    require_whole(found, what="take.wav")
    require_same_level(found, chirp_levels(found), what="take.wav")
    return found


def refused(samples, recorder=RECORDER, reels=(REEL,)):
    with pytest.raises(RecordingError) as caught:
        judged(samples, recorder, reels)
    return str(caught.value)


def trial(random, reel):
    """One reel at a random place, gain, polarity, rate and clock; every second one in a room of 0.4 s.

    Returns the largest error of a chirp's place in samples, of the clock in ppm, and how far the noise lay below.
    """
    recorder = Recorder(
        rate=int(random.choice([44100, 48000, 96000])),
        ppm=random.uniform(-200.0, 200.0),
        delay_s=random.uniform(0.5, 60.0),
        extra_s=random.uniform(0.5, 30.0),
        gain=float(random.choice([-1.0, 1.0]) * 10.0 ** (random.uniform(-40.0, 0.0) / 20.0)),
    )
    room = made_room(random, rt60_s=0.4, drr_db=5.0, sample_rate=recorder.rate) if random.random() < 0.5 else None
    below_db = random.uniform(0.0, 50.0)
    found = judged(noisy(record(reel, recorder, room=room), recorder, random, below_db=below_db), recorder, (reel,))
    errors = [
        one.place - recorder.place(reel, mark.start)
        for mark, one in zip(found.marks, found.heard, strict=True)
        if one is not None
    ]
    assert len(errors) == len(found.marks)
    assert all(one is not None and one.polarity == np.sign(recorder.gain) for one in found.heard)
    return max(np.abs(errors)), abs(1e6 * found.clock - recorder.ppm), below_db


def held(random, reel, trials):
    """Places within 1 sample and the clock within 0.02 ppm, which is what the work on phases needs.

    The Cramer-Rao bound of a chirp's place is 0.03 samples when the noise is as strong as the chirp.
    """
    found = [trial(random, reel) for _ in range(trials)]
    print("\n    noise below chirps, dB   start error, samples   clock error, ppm")
    for low_db in range(0, 50, 10):
        of_these = [one for one in found if low_db <= one[2] < low_db + 10.0]
        if of_these:
            start, clock = (max(one[column] for one in of_these) for column in (0, 1))
            print(f"    {low_db:>3} to {low_db + 10:<3} ({len(of_these):>2} reels) {start:>20.4f} {clock:>20.5f}")
    assert max(start for start, _, _ in found) < 0.1
    assert max(clock for _, clock, _ in found) < 0.02


@pytest.mark.sample
@pytest.mark.parametrize("trials", [1, pytest.param(3, marks=pytest.mark.study)])
def test_some_reels_are_found_and_none_wrong(trials):
    held(np.random.default_rng(5), session_reel(plan_of(levels=(76.0, 86.0))), trials)


def test_digital_silence_is_not_taken_for_chirps():
    found = judged(record(REEL, RECORDER))
    assert found.place(0) == pytest.approx(RECORDER.place(REEL, 0), abs=0.001)
    # chirps at other fractions of a sample read alike; a shift to the wrong side is off by decibels in the top band
    assert np.max(np.abs(chirp_levels(found).change_db)) < 0.001


@pytest.mark.study
def test_fifty_reels_are_found_and_none_wrong():
    held(np.random.default_rng(50), session_reel(plan_of(levels=(76.0, 86.0))), 50)


def test_a_clean_recording_passes(clean):
    found = judged(clean)
    assert 1e6 * found.clock == pytest.approx(RECORDER.ppm, abs=0.001)
    assert found.place(0) == pytest.approx(RECORDER.place(REEL, 0), abs=0.01)
    assert chirp_levels(found).can_tell


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("where", "ms"), [("sweep_86dB", 5.0), ("sweep_86dB", -5.0), ("rest", 0.1), ("chirp", 5.0), ("end", 5.0)]
)
def test_a_lost_or_repeated_section_is_refused(clean, where, ms):
    """Half of a stimulus, of a chirp, of a rest, or of the last silence; 0.1 ms are 4 samples."""
    part = next(one for one in REEL.parts if one.name.stem == "sweep_86dB")
    start = REEL.part_start(part)
    inside = {
        "sweep_86dB": start + 5.0 * REEL.sample_rate,
        "chirp": start + 0.55 * REEL.sample_rate,
        "rest": start - 6.0 * REEL.sample_rate,
        "end": REEL.reel.chirp_starts()[-1] - 3.0 * REEL.sample_rate,
    }[where]
    at, length = round(RECORDER.place(REEL, inside)), round(abs(ms) * 1e-3 * RECORDER.rate)
    if ms > 0:
        broken = np.concatenate([clean[:at], clean[at + length :]])
    else:
        broken = np.concatenate([clean[:at], clean[at - length : at], clean[at:]])
    said = refused(broken)
    if where != "chirp":  # a broken chirp is placed somewhere between its halves
        whole_ms = 1e3 * length / RECORDER.rate
        assert f"{whole_ms:.2g} ms {'were lost' if ms > 0 else 'too much lie'}" in said


@pytest.mark.first(1)
@pytest.mark.parametrize(("share", "change_db"), [(0.2, 0.5), (0.5, -0.5), (0.9, 0.5)])
def test_a_player_that_changes_its_level_is_refused(clean, share, change_db):
    changed = clean.copy()
    changed[round(share * changed.size) :] *= float(db_to_amplitude(change_db))
    assert f"the player had changed its level by {change_db:+.1f}" in refused(changed)


@pytest.mark.sample
def test_a_voice_coil_that_was_hot_and_cooled_is_no_player(clean):
    """The chirp right after the loudest sweep 0.6 dB down: told, and not refused."""
    hot = clean.copy()
    mark = next(
        one
        for one in judged(clean).marks
        if one.part is not None and REEL.parts[one.part].name.stem == "sweep_96dB" and not one.before
    )
    first = round(RECORDER.place(REEL, mark.start)) - 100
    hot[first : first + RECORDER.rate // 4] *= float(db_to_amplitude(-0.6))
    found = judged(hot)
    index = found.marks.index(mark)
    assert chirp_levels(found).common_db(index) == pytest.approx(-0.6, abs=0.05)


@pytest.mark.sample
def test_a_tweeter_that_cooled_down_is_no_player(clean):
    """Above 5 kHz 1 dB up from the middle on, below nothing: a driver has changed, not the player."""
    high = scipy.signal.sosfiltfilt(scipy.signal.butter(8, 5000.0, "high", fs=RECORDER.rate, output="sos"), clean)
    high[: clean.size // 2] = 0.0
    judged(clean + (float(db_to_amplitude(1.0)) - 1.0) * high)


def test_noise_that_hides_a_change_of_level_is_told():
    random = np.random.default_rng(3)
    loud = noisy(record(REEL, RECORDER), RECORDER, random, below_db=0.0)
    assert not chirp_levels(judged(loud)).can_tell


def test_a_cut_off_recording_is_refused(clean):
    start, end = (round(RECORDER.place(REEL, sample)) for sample in (10.0 * REEL.sample_rate, REEL.reel.n_samples))
    assert "cut off at its start" in refused(clean[start:])
    assert "cut off at its end" in refused(clean[: end - 20 * RECORDER.rate])
    assert "cut off at its end" in refused(clean[: round(0.4 * clean.size)])


def test_another_reel_is_refused():
    """The same stimuli at other levels have the same lengths: the rests alone tell the two apart."""
    other = session_reel(plan_of(levels=(75.0, 85.0, 95.0)))
    assert [part.rest_s is None for part in other.parts] == [part.rest_s is None for part in REEL.parts]
    assert "another reel" in refused(record(other, RECORDER))


@pytest.mark.sample
def test_the_quiet_part_is_not_taken_for_the_whole_reel(clean):
    quiet = session_reel(plan_of(), up_to=86.0)
    assert judged(clean, reels=(quiet, REEL)).reel is REEL
    assert judged(record(quiet, RECORDER), reels=(REEL, quiet)).reel is quiet
    assert "another reel" in refused(clean, reels=(quiet,))


def test_a_recording_without_a_reel_is_refused():
    random = np.random.default_rng(2)
    assert "nothing like" in refused(random.standard_normal(60 * RECORDER.rate))
    assert "nothing like" in refused(np.zeros(60 * RECORDER.rate))


def test_a_covered_chirp_is_refused(clean):
    covered = clean.copy()
    mark = judged(clean).marks[4]
    first = round(RECORDER.place(REEL, mark.start))
    covered[first : first + RECORDER.rate // 8] = np.random.default_rng(1).standard_normal(RECORDER.rate // 8)
    assert "is not heard where it should be" in refused(covered)


def test_a_recorder_too_slow_for_the_chirps_is_told():
    recording = InMemory(what="take.wav", sample_rate=16000, samples=np.zeros(16000))
    with pytest.raises(RecordingError, match=r"record at 44\.1 kHz or more"):
        find_session_reel(recording, (REEL,))


def test_the_first_chirp_has_a_silence_of_unknown_length_before_it(clean):
    marks = judged(clean).marks
    assert math.isinf(marks[0].silence_s)
    assert marks[-1].part is None
