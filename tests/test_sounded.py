"""What sounded and is no recording counts in the day, and the rest after it is kept by whatever is played next."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from distort.capture.measuring.exposure import day_of, share_of_day, sounding_s
from distort.capture.measuring.playing import measure
from distort.capture.measuring.sounding import rest_owed_s
from distort.capture.measuring.starting import Choice
from distort.errors import DeafError, RecordingError, SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.sounded import Sounded, note_sounded, read_sounded
from distort.session.recordings.stimulus_files import drives_dbfs, planned
from distort.session.recordings.stored import load_recordings
from tests.clumsy_session import CommandLine
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import session_on_a_wire

REST_S = 3.0
"""Of that session's plan."""


class Breaking(ScaledLoudspeaker):
    """Raises `error` where it plays for the third time, the first that is loud: after `after_s`, or at its end."""

    error: BaseException | None = None
    after_s: float | None = None
    times = 1

    def play_and_record(self, playback, *, sample_rate, guard=None):
        heard = super().play_and_record(playback, sample_rate=sample_rate, guard=guard)
        if self.error is not None and 3 <= len(self.played) < 3 + self.times:
            if self.after_s is not None:
                self._elapsed_s += self.after_s - playback.size / sample_rate
            raise self.error
        return heard


@pytest.fixture
def folder(tmp_path, capsys) -> SessionFolder:
    return session_on_a_wire(tmp_path / "monitor", CommandLine(capsys), section="")


def play(folder: SessionFolder, device: ScaledLoudspeaker) -> None:
    choice = Choice(condition="default", only="sweep_82dB")
    measure(folder, read_plan(folder.root), device, choice, progress=lambda what, done, total: None)


def test_what_lost_samples_counts_in_the_day_and_its_repeat_as_well(folder) -> None:
    device = Breaking()
    device.error = RecordingError("samples were lost")
    play(folder, device)
    (recording,) = load_recordings(folder, "default")
    day = day_of(folder)
    assert (day.recordings, day.not_kept) == (1, 1)
    seconds = sounding_s(recording.sidecar.stimulus)
    assert day.share == pytest.approx(2.0 * share_of_day([(82.0, seconds)]))
    assert REST_S in device.rests


@pytest.mark.sample
@pytest.mark.parametrize("error", [KeyboardInterrupt(), DeafError("the microphone heard nothing")])
def test_what_was_broken_off_counts_as_far_as_it_came(folder, error) -> None:
    """It is broken off a second after the silence and the chirp before the stimulus. Who goes on rests first."""
    plan = read_plan(folder.root)
    item = next(one for one in planned(plan, drives_dbfs(plan, None)) if one.stem == "sweep_82dB")
    device = Breaking()
    device.error, device.after_s = error, 1.0 + item.reel.only_stimulus()[0] / item.reel.sample_rate
    with pytest.raises(type(error)):
        play(folder, device)
    assert not load_recordings(folder, "default")
    day = day_of(folder)
    assert (day.recordings, day.not_kept) == (0, 1)
    # moments are noted to the millisecond
    assert day.share == pytest.approx(share_of_day([(82.0, 1.0)]), rel=2e-3)
    device = ScaledLoudspeaker()
    play(folder, device)
    assert device.rests[0] == REST_S  # its clock begins before what was noted, as one that was set back


def test_the_rest_after_what_was_played_last_is_owed_by_whoever_plays_next(folder) -> None:
    """Of 20 s that begin with a planned end 5 s are left after 15; a program that was killed has noted that end."""
    ended = datetime(2024, 5, 1, 12, 0, 0, tzinfo=UTC)
    last = Sounded(
        recording="default/sweep_82dB",
        level_db_spl=82.0,
        seconds=10.0,
        began=(ended - timedelta(seconds=12)).isoformat(),
        ended=ended.isoformat(),
        rest_s=20.0,
        simulated=False,
    )
    assert rest_owed_s(folder, ended) == 0.0  # nothing was played
    note_sounded(folder, last)
    for after_s, owed_s in ((-3600.0, 20.0), (-6.0, 20.0), (0.0, 20.0), (15.0, 5.0), (20.0, 0.0), (3600.0, 0.0)):
        assert rest_owed_s(folder, ended + timedelta(seconds=after_s)) == pytest.approx(owed_s)
    note_sounded(folder, replace(last, kept=True))
    assert rest_owed_s(folder, ended) == 20.0
    note_sounded(folder, replace(last, began=ended.isoformat(), simulated=True))
    assert rest_owed_s(folder, ended) == 0.0  # a loudspeaker that every program makes anew
    assert [one.simulated for one in read_sounded(folder)] == [True]  # what became a recording is not kept here


def test_a_note_that_cannot_be_trusted_is_told_before_any_sound(folder) -> None:
    folder.calibration_path("sounded.json").write_text('{"format": 1, "played": [{"recording": 3}]}')
    device = ScaledLoudspeaker()
    with pytest.raises(SessionError, match=r"sounded\.json does not hold what it must"):
        play(folder, device)
    assert device.played == []
