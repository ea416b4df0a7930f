"""After a pause silence; a microphone that hears nothing, hears no numbers or has an offset; a disk without room.

Played by the whole program through a card without a clock, on a loudspeaker of known answer.
"""

import re
import subprocess
import sys
import time
from collections import namedtuple
from datetime import datetime, timedelta

import numpy as np
import pytest

from distort.capture.devices import sound_card
from distort.capture.devices.guard import Expected, Guard, Listening
from distort.capture.devices.pauses import LEAST_SLEEP_S, LONGEST_GAP_S, PauseWatch, of_this_process, suspended_s
from distort.capture.devices.playing import FADE_S
from distort.capture.measuring.third_octaves import ThirdOctaves, fell_everywhere_db
from distort.errors import DeafError, TooLoudError
from tests.devices.answering import LOUD, RATE
from tests.devices.hasty_card import BLOCK, HastyLibrary
from tests.test_answering_at_once import CARDS, card, distort, recorded, session

__all__ = ["card", "distort"]

SOUNDS = 1e-4
"""Amplitude that is sound: -80 dBFS, 34 dB under the quiet run."""


def sound_after(cards: HastyLibrary, moment: int) -> float:
    """Seconds from a sample of all that was played to the last that sounds."""
    return float(np.flatnonzero(np.abs(cards.played) > SOUNDS)[-1] - moment) / RATE


def passed_s(played: np.ndarray, loud_s: float) -> int:
    """The sample of `played` at which so many seconds beyond `LOUD` have been played."""
    return int(np.flatnonzero(np.abs(played) > LOUD)[round(loud_s * RATE)])


# -- pauses


@pytest.mark.sample
def test_a_program_that_is_held_up_in_mid_sweep_fades_out_and_plays_nothing_more(
    tmp_path, distort, card, monkeypatch
) -> None:
    """0.8 s pass between two blocks, as when the program is stopped or a card hangs."""
    held: list[float] = []

    def hold(heard: np.ndarray, loud_samples: int) -> np.ndarray:
        if loud_samples > 0.5 * RATE and not held:
            held.append(loud_samples)
            time.sleep(LONGEST_GAP_S + 0.3)
        return heard

    cards = card(spoil=hold)
    monkeypatch.setattr("distort.capture.devices.playing.LONGEST_GAP_S", LONGEST_GAP_S)
    folder = session(tmp_path, "82,92")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert re.search(r"the computer paused: .* for 0\.[89] s\. Nothing more is played: start again", ending.err)
    assert recorded(folder) == set()
    assert sound_after(cards, passed_s(cards.played, 0.5)) < (2 * BLOCK) / RATE + FADE_S
    monkeypatch.setattr("distort.capture.devices.playing.LONGEST_GAP_S", 1e6)
    assert distort("measure", folder, "--yes", *CARDS, "--only", "sweep_82dB").status == 0  # by the same command
    assert recorded(folder) == {"sweep_82dB"}


@pytest.mark.parametrize("where", ["in mid-sweep", "in a rest"])
def test_a_computer_that_slept_plays_nothing_when_it_wakes(tmp_path, distort, card, monkeypatch, where) -> None:
    """An hour by the clock that counts sleep; the clock that does not goes on as if nothing had been."""
    folder = session(tmp_path, "82,92")
    first = folder / "recordings/default/sweep_82dB.flac"
    slept_from: list[int] = []

    def asleep() -> float:
        slept = first.exists() if where == "in a rest" else cards.loud_samples > 0.5 * RATE
        if slept and not slept_from:
            slept_from.append(cards.played.size)
        return 3600.0 if slept else 0.0

    cards = card()
    watch = PauseWatch(clock=lambda: 0.0, asleep=asleep)  # nothing else is a pause here
    monkeypatch.setattr(sound_card, "of_this_process", lambda: watch)
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "the computer paused: " in ending.err
    assert "for 3600.0 s" in ending.err
    assert recorded(folder) == ({"sweep_82dB"} if where == "in a rest" else set())
    assert sound_after(cards, slept_from[0]) < BLOCK / RATE + FADE_S
    if where == "in a rest":
        assert cards.played.size == slept_from[0]


def test_somebody_who_is_asked_after_a_sleep_is_here(card) -> None:
    """The question is answered by hand, so that what was slept before it does not count."""
    card()
    slept = [0.0]
    watched = sound_card.SoundCard(
        sound_card.Connections(output="loudspeaker", input="microphone"),
        max_drive_dbfs=-6.0,
        pauses=PauseWatch(clock=lambda: 0.0, asleep=lambda: slept[0]),
    )
    slept[0] = 60.0
    with pytest.raises(Exception, match="the computer paused"):
        watched.rest(0.0)
    watched.attended()
    watched.rest(0.0)


@pytest.mark.sample
def test_a_clock_that_the_network_sets_is_no_pause(tmp_path, distort, card, monkeypatch) -> None:
    """The time of day is set anew at every block, up to ten days forth or back: over 1,000 times while it plays."""
    random = np.random.default_rng(20261127)
    offset_s = [0.0]
    steps = [0]

    def step(heard: np.ndarray, loud_samples: int) -> np.ndarray:
        offset_s[0] = random.uniform(-864000.0, 864000.0)
        steps[0] += 1
        return heard

    class Stepped(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.now(tz) + timedelta(seconds=offset_s[0])

    right = time.time
    monkeypatch.setattr(time, "time", lambda: right() + offset_s[0])
    monkeypatch.setattr(sound_card, "datetime", Stepped)
    card(spoil=step)
    folder = session(tmp_path, "82")
    distort.done("measure", folder, "--yes", *CARDS, "--only", "sweep_82dB")
    assert recorded(folder) == {"sweep_82dB"}
    assert steps[0] > 1000


def test_what_is_a_pause_and_what_is_none() -> None:
    now, asleep = [0.0], [0.0]
    watch = PauseWatch(clock=lambda: now[0], asleep=lambda: asleep[0])
    for _ in range(3):
        now[0] += LONGEST_GAP_S - 0.01
        asleep[0] += LEAST_SLEEP_S / 10.0  # two clocks never read quite the same
        assert watch.paused_s() == 0.0
    now[0] += LONGEST_GAP_S + 0.01
    assert watch.paused_s() == pytest.approx(LONGEST_GAP_S + 0.01)
    asleep[0] += 7.0
    assert watch.paused_s() == pytest.approx(LONGEST_GAP_S + 7.01, abs=LEAST_SLEEP_S)


def test_this_machine_does_not_sleep_while_it_is_tested() -> None:
    """Of two clocks of which one counts sleep; they differ by what it slept before."""
    before = suspended_s(), of_this_process().paused_s()
    for _ in range(20):
        time.sleep(0.01)
    assert suspended_s() == pytest.approx(before[0], abs=LEAST_SLEEP_S / 2.0)
    assert of_this_process().paused_s() == before[1]


# -- a microphone that hears nothing, or nothing that is a number


def test_a_microphone_that_goes_deaf_in_mid_sweep_silences_it_in_a_fifth_of_a_second(tmp_path, distort, card) -> None:
    """Its cable is pulled in the middle of a sweep of 3.2 s: what is left is the noise of the input."""
    random = np.random.default_rng(5)

    def pulled(heard: np.ndarray, loud_samples: int) -> np.ndarray:
        return heard if loud_samples < 1.2 * RATE else 1e-5 * random.standard_normal(heard.size)

    cards = card(spoil=pulled)
    folder = session(tmp_path, "82,92", seconds="3.2")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "default/sweep_82dB: " in ending.err
    assert "the microphone heard nothing of what was played" in ending.err
    assert recorded(folder) == set()
    assert sound_after(cards, passed_s(cards.played, 1.2)) < 0.2


@pytest.mark.parametrize("level", [1e-5, 0.0])
def test_one_that_is_deaf_before_a_take_is_noticed_by_the_chirp(tmp_path, distort, card, level) -> None:
    """Since the quiet run; the chirp lasts 0.1 s and stands 10 dB under the sweep, which never begins."""
    folder = session(tmp_path, "92")
    random = np.random.default_rng(6)

    def deaf(heard: np.ndarray, loud_samples: int) -> np.ndarray:
        found = (folder / "calibration/drive.json").exists()
        return level * random.standard_normal(heard.size) if found else heard

    cards = card(spoil=deaf)
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "default/sweep_92dB: " in ending.err
    assert "heard nothing" in ending.err
    loudest_dbfs = 20.0 * np.log10(np.max(np.abs(cards.played)))
    assert loudest_dbfs == pytest.approx(-13.9 - 10.0, abs=0.2)  # 92 dB SPL takes a drive of -13.9 dBFS


@pytest.mark.sample
def test_one_whose_gain_was_turned_down_between_two_levels_ends_the_series(tmp_path, distort, card) -> None:
    """By 16 dB before the drive rises by 10: every third octave falls by 6 dB, which no limiter does."""
    folder = session(tmp_path, "72,82,92")
    first = folder / "recordings/default/multitone_72dB.flac"
    card(spoil=lambda heard, loud_samples: heard * (10.0 ** (-16.0 / 20.0) if first.exists() else 1.0))
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    said = re.search(r"in default/sweep_82dB the microphone heard (\d\.\d) dB less than at the level below", ending.err)
    assert said is not None
    # the curve of the loudspeaker takes 0.1 dB more off at the higher level
    assert float(said[1]) == pytest.approx(6.0, abs=0.15)
    assert recorded(folder) == {"sweep_72dB", "multitone_72dB", "sweep_82dB"}


def test_a_limiter_is_not_taken_for_a_deaf_microphone() -> None:
    """It holds the output; noise hides a band, which then says nothing; and a lower drive may give less."""
    midband_hz = 1000.0 * 10.0 ** (np.arange(3) / 10.0)

    def answer(drive_dbfs: float, *output_db: float) -> ThirdOctaves:
        return ThirdOctaves(
            drive_dbfs=drive_dbfs, midband_hz=midband_hz, output_db_spl=np.array(output_db), noise_db=np.full(3, -40.0)
        )

    below = answer(-30.0, 80.0, 82.0, 84.0)
    assert fell_everywhere_db(answer(-20.0, 80.0, 81.0, 83.5), below) == pytest.approx(0.0)
    assert fell_everywhere_db(answer(-20.0, np.nan, 75.0, 76.0), below) == pytest.approx(7.0)
    assert fell_everywhere_db(answer(-40.0, 70.0, 72.0, 74.0), below) == pytest.approx(0.0)
    assert fell_everywhere_db(answer(-20.0, np.nan, np.nan, np.nan), below) is None


def test_values_that_are_no_numbers_count_as_too_loud(tmp_path, distort, card) -> None:
    def broken(heard: np.ndarray, loud_samples: int) -> np.ndarray:
        return np.where(np.arange(heard.size) == 7, np.nan, heard) if loud_samples > 0.5 * RATE else heard

    cards = card(spoil=broken)
    folder = session(tmp_path, "82,92")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert "the input delivered values that are no numbers" in ending.err
    assert recorded(folder) == set()
    assert sound_after(cards, passed_s(cards.played, 0.5)) < 3 * BLOCK / RATE + FADE_S


@pytest.mark.first(1)
@pytest.mark.parametrize(("offset", "told"), [(0.003, "0.3 %"), (-0.05, "5 %"), (0.0005, None)])
@pytest.mark.sample
def test_an_offset_of_the_input_stops_nothing_and_is_named_when_large(tmp_path, distort, card, offset, told) -> None:
    """At 62 dB SPL the sweep's own peak is 0.0013 of full scale, far under the two larger offsets."""
    card(spoil=lambda heard, loud_samples: heard + offset)
    folder = session(tmp_path, "62")
    said = distort.done("measure", folder, "--yes", *CARDS, "--only", "sweep_62dB")
    assert recorded(folder) == {"sweep_62dB"}
    assert ("the input has an offset of" in said) is (told is not None)
    if told is not None:
        assert f"an offset of {told} of full scale" in said


def test_an_offset_does_not_hide_what_is_too_loud() -> None:
    """A tone of 0.3 with an offset of 0.2 is held to 0.29 and to 0.31, and not to what both add up to."""
    tone = 0.3 * np.sin(2.0 * np.pi * 100.0 / RATE * np.arange(RATE)) + 0.2
    for highest, stops in ((0.29, True), (0.31, False)):
        listening = Listening(Guard(highest=highest), n_samples=RATE, sample_rate=RATE)
        listening.settle(np.full(RATE // 2, 0.2, np.float32))
        troubles = [listening.hear(block) for block in tone.astype(np.float32).reshape(-1, BLOCK)]
        assert any(isinstance(one, TooLoudError) for one in troubles) is stops


def test_full_scale_stops_it_whatever_was_expected() -> None:
    listening = Listening(Guard(highest=5.0), n_samples=BLOCK, sample_rate=RATE)
    assert isinstance(listening.hear(np.full(BLOCK, 1.0, np.float32)), TooLoudError)


def test_a_stretch_is_judged_by_its_own_end() -> None:
    """A peak that is demanded by sample 960 must have come since sample 480: one before or after it does not count."""
    expected = (Expected(first=480, end=960, lowest=0.1),)
    for place, deaf in ((479, True), (480, False), (959, False), (960, True)):
        listening = Listening(Guard(highest=0.9, expected=expected), n_samples=1440, sample_rate=RATE)
        heard = np.zeros(1440, np.float32)
        heard[place] = 0.5
        troubles = [listening.hear(block) for block in heard.reshape(-1, 480)]
        assert any(isinstance(one, DeafError) for one in troubles) is deaf


# -- the disk


def test_a_disk_without_room_is_told_before_anything_sounds(tmp_path, distort, card, monkeypatch) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr("shutil.disk_usage", lambda path: usage(10**12, 10**12, 10_000_000))
    cards = card()
    folder = session(tmp_path, "82")
    ending = distort("measure", folder, "--yes", *CARDS)
    assert ending.status == 1
    assert re.search(r"nothing was played: 2 recordings need up to \d+ MB, .* has 10 MB left", ending.err)
    assert cards.played.size == 0


def test_the_room_that_is_asked_for_is_enough_and_no_more_than_twice_that_beyond_the_reserve(
    tmp_path, distort, card
) -> None:
    """Noise at full scale does not compress: 24 bits a sample, FLAC's worst case, twice, and the stimulus once."""
    from distort.capture.measuring.room_on_disk import ROOM_BESIDES, bytes_needed
    from distort.capture.measuring.steps import steps
    from distort.session.plan.reading import read_plan
    from distort.session.recordings.stimulus_files import planned

    plan = read_plan(session(tmp_path, "82"))
    every = steps(plan, planned(plan, {82.0: -24.0}))
    samples = sum(one.item.reel.n_samples for one in every)
    files = 3 * (2 * samples + samples)
    assert files < bytes_needed(every) - ROOM_BESIDES < 2 * files


# -- two at once

PLAYS = """
import sys
from distort.capture.devices.alone import playing_alone
with playing_alone():
    sys.stdout.write("plays\\n")
    sys.stdout.flush()
    sys.stdin.read()
"""


def test_two_sessions_do_not_play_on_one_machine_at_a_time(tmp_path, distort, card, monkeypatch) -> None:
    """Another process plays; when it has ended, this one may. The lock lies where all accounts may open it."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    monkeypatch.setattr("distort.capture.devices.alone.FOLDER", "distort-plays")
    cards = card()
    folder = session(tmp_path, "82")
    words = ("measure", folder, "--yes", *CARDS, "--only", "sweep_82dB")
    with subprocess.Popen([sys.executable, "-c", PLAYS], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == b"plays\n"
        lock = tmp_path / "distort-plays" / "lock"
        assert [path.stat().st_mode & 0o777 for path in (lock, lock.parent)] == [0o666, 0o777]
        ending = distort(*words)
        assert ending.status == 1
        assert f"the sound of this machine is in use by process {other.pid} on " in ending.err
        assert cards.played.size == 0
        other.stdin.close()
    assert distort(*words).status == 0
    assert recorded(folder) == {"sweep_82dB"}
