"""Drift and rests from the recorder's own clock: its differences count, and no other clock is held against it."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from distort.assembly.comparison.setup_differences import _dates
from distort.recording.clocks import clock_of
from distort.session.audio.original import Original
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import Recording
from tests.clumsy_session import RATE, heard, table
from tests.recorder_files import BEGAN, write_wav
from tests.session_examples import SIDECAR

pytest_plugins = ["tests.clumsy_fixtures"]

PLAYED_S = SIDECAR.reel.n_samples / SIDECAR.reel.sample_rate
"""Silences, chirps and sweep together."""

IN_FILE_S = SIDECAR.stimulus_start_sample / 48000 - SIDECAR.reel.only_stimulus()[0] / 48000
"""Where the file's sound begins in the recording."""


def recording(began_s: float | None, *, zone: str = "", said_by="bext", at: float = IN_FILE_S, **changes) -> Recording:
    """A recording of 48 kHz whose file began so long after noon; what was played begins `at` seconds later."""
    began = None if began_s is None else (datetime(2024, 5, 1, 12) + timedelta(seconds=began_s)).isoformat() + zone
    original = Original(sha256="a" * 64, began=began, began_from=said_by if began else None, kept=False)
    start = SIDECAR.stimulus_start_sample + (at - IN_FILE_S) * 48000
    sidecar = replace(SIDECAR, original=original, rest_s=None, stimulus_start_sample=start, **changes)
    return Recording(files=SessionFolder(Path("s")).recording(sidecar.condition, sidecar.name), sidecar=sidecar)


def test_what_was_played_begins_later_than_the_file() -> None:
    """Two files that began 100 s apart, in the second of which the player was started 7 s later."""
    first, second = recording(0, take=1), recording(100, take=2, at=IN_FILE_S + 7.0)
    clock = clock_of([first, second])
    assert clock.by_recorder
    assert clock.began_s(second) - clock.began_s(first) == pytest.approx(107.0, abs=1e-6)  # of numbers of 1.7e9 s
    assert clock.rest_s(second) == round(107.0 - PLAYED_S)
    assert clock.rest_s(first) is None


def test_a_rest_is_that_since_whatever_was_played_before() -> None:
    """Also a rejected recording, and one at another level, heated the loudspeaker; in whatever order they came in."""
    every = [
        recording(200, take=2, after=True),
        recording(0),
        recording(100, level_db_spl=96.0),
        recording(150, level_db_spl=96.0, take=2, rejected="a door"),
    ]
    clock = clock_of(every)
    assert clock.rest_s(every[0]) == round(50.0 - PLAYED_S)
    assert clock.rest_s(every[2]) == round(100.0 - PLAYED_S)


def test_what_a_sidecar_says_of_a_rest_holds() -> None:
    """Rests within a reel are exact."""
    first = recording(0)
    second = replace(second := recording(100, take=2), sidecar=replace(second.sidecar, rest_s=60.05))
    assert clock_of([first, second]).rest_s(second) == 60.05


LIVE = replace(recording(0, take=9), sidecar=replace(SIDECAR, take=9))
"""Recorded by this program."""


@pytest.mark.parametrize(
    "other",
    [
        recording(None, take=2),
        recording(100, take=2, zone="+00:00"),
        recording(100, take=2, said_by="ICRD"),
        recording(0, take=2),
        recording(PLAYED_S - 1.1, take=2),
        LIVE,
    ],
    ids=["no time", "a zone", "another place", "the same time", "while the first played", "live"],
)
def test_times_of_two_clocks_are_never_mixed(other) -> None:
    """Then the computer's clock counts, as if no file said anything, and no rest is known but that of sidecars."""
    first = recording(0)
    clock = clock_of([first, other])
    assert not clock.by_recorder
    assert clock.rest_s(first) is None
    assert clock.rest_s(other) == other.sidecar.rest_s
    assert clock.began_s(first) == datetime.fromisoformat(SIDECAR.date).timestamp()


def test_times_in_whole_seconds_may_seem_to_overlap_by_one() -> None:
    """A recorder cuts fractions off: what ended at 7.95 s may be followed by a file of 7 s, and no rest is negative."""
    first, second = recording(0), recording(PLAYED_S - 0.99, take=2)
    clock = clock_of([first, second])
    assert clock.by_recorder
    assert clock.rest_s(second) == 0.0


def test_a_rest_of_a_minute_is_one_in_whole_seconds() -> None:
    """60 s later by a clock that cuts fractions off, though by its numbers some hundredths are missing."""
    first = recording(0)
    for missing_s, rest_s in ((0.0, 60.0), (0.4, 60.0), (0.6, 59.0)):
        second = recording(round(60.0 + PLAYED_S - missing_s, 3), take=2)
        assert clock_of([first, second]).rest_s(second) == rest_s


def test_a_comparison_says_whose_day_it_is() -> None:
    """The recorder's clock is named beside the computer's; what both recorders say holds, however they came in."""
    first, second = (recording(day * 86400.0).sidecar for day in (0, 2))
    assert list(_dates(first, first)) == []
    (both,) = _dates(first, second)
    assert (both.a, both.b) == ("2024-05-01 by the recorder's clock", "2024-05-03 by the recorder's clock")
    live = replace(SIDECAR, date="2024-06-01T12:30:00+00:00")
    (mixed,) = _dates(first, live)
    assert (mixed.a, mixed.b) == ("2024-05-01 by the recorder's clock", "2024-06-01")
    assert list(_dates(first, replace(second, original=first.original, date=live.date))) == []


def test_nothing_is_known_of_no_recordings() -> None:
    assert not clock_of([]).by_recorder


def later(seconds: float) -> str:
    return (datetime.fromisoformat(BEGAN) + timedelta(seconds=seconds)).isoformat()


DRIFT_DB = 0.5


def bring_in(distort, session, folder, *, dated: bool = True, name: str = "take") -> str:
    """86, 96, and 86 again after 20 s and, 0.5 dB louder, after another 100 s; what the last command said."""
    said = ""
    for number, (level, began_s, gain_db, words) in enumerate(
        [(86, 0, 0.0, ()), (96, 30, 0.0, ()), (86, 60, 0.0, ("--after",)), (86, 180, DRIFT_DB, ("--after",))]
    ):
        sound = heard(session / f"stimuli/sweep_{level}dB.wav", noise=0.0)
        sound += 1e-5 * np.random.default_rng(number).standard_normal(sound.size)
        path = write_wav(
            folder / f"{name}{number}.wav",
            10.0 ** (gain_db / 20.0) * sound,
            RATE,
            "FLOAT",
            began=later(began_s) if dated else None,
        )
        said = distort.done(
            "add", session, path, "--stimulus", "sweep", "--level", level, "--playback-change-db", "0", *words
        )
    return said


@pytest.mark.sample
def test_drift_is_found_by_the_recorders_clock(distort, session, tmp_path) -> None:
    """The gain rose by 0.5 dB from the first to the last; at 96 dB, 30 s after the first of 180 s, by a sixth of it."""
    said = bring_in(distort, session, tmp_path)
    # files of 10.0 s, as `stimuli` says, each a second after its recording began: 60 - 30 - 10 s, 180 - 60 - 10 s
    assert "The loudspeaker rested 20 s before sweep_86dB_after: it shows residual heating." in said
    assert "The loudspeaker rested 110 s before sweep_86dB_take2_after: it shows drift." in said
    assert "2024-05-01T12:03:31 by the recorder's own clock (bext)" in said
    distort.done("analyze", session)
    origin = distort.done("origin", session, "h2", "--hz", "1000", "--level", "96")
    assert "2024-05-01T12:01:01 by the recorder's own clock (bext), drive" in origin
    change = table(session / "results/default/compression_sweep.csv")
    rows = (change["frequency_hz"] > 100.0) & (change["frequency_hz"] < 10e3)
    # noise lies 60 dB below the sweep, before what is smoothed and averaged over the rows: 0.01 dB at most
    np.testing.assert_allclose(np.median(change["drift_db"][rows]), DRIFT_DB, atol=0.02)
    found = json.loads((session / "results/default/findings.json").read_text(encoding="utf-8"))["compression"][0]
    assert found["repeated"] == "hot and rested"
    heating_db = [octave["heating_db"] for octave in found["octaves"] if octave["heating_db"] is not None]
    assert np.max(np.abs(heating_db)) < 0.02
    risen_db = (change["change_96db"] - change["change_96db_corrected"])[rows]
    np.testing.assert_allclose(np.median(risen_db), DRIFT_DB * 30.0 / 180.0, atol=0.005)


@pytest.mark.study
def test_without_times_drift_is_not_known_and_said_so(distort, session, tmp_path) -> None:
    said = bring_in(distort, session, tmp_path, dated=False)
    assert (
        said.count("shows neither drift nor residual heating, because nobody knows how long the loudspeaker rested")
        == 2
    )
    assert "by the recorder's own clock" not in said
    distort.done("analyze", session)
    change = table(session / "results/default/compression_sweep.csv")
    assert np.all(np.isnan(change["drift_db"]))
    found = json.loads((session / "results/default/findings.json").read_text(encoding="utf-8"))["compression"][0]
    assert found["repeated"] == "no"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--stimulus", "multitone", "--level", "86"), "--after is about the sweep"),
        (("--stimulus", "sweep", "--level", "96"), "the lowest level of the plan, 86 dB SPL"),
        (("--stimulus", "sweep", "--level", "86", "--repositioned"), "contradict"),
    ],
)
def test_after_is_about_the_lowest_sweep(distort, session, recording, words, why) -> None:
    assert why in distort.refused("add", session, recording, *words, "--after", status=2, inside=session)


def test_after_is_not_said_of_a_reel(distort, session, recording) -> None:
    said = distort.refused("add", session, "--reel", recording, "--after", status=2, inside=session)
    assert "a reel knows" in said
