"""What stops a ladder: more than was expected, at once or after a recording; and a loudspeaker that stands still."""

import numpy as np
import pytest

from distort.capture.measuring.completeness import check_session
from distort.capture.measuring.third_octaves import ThirdOctaves, louder, standstill
from distort.errors import TooLoudError
from distort.report.text.plan import ended_sentence
from distort.session.recordings.sidecar import reject
from tests.devices.scaled import ScaledLoudspeaker
from tests.test_before_it_is_loud import FULL_SCALE_DB_SPL, calibrated, folder, plan_of, run, stems, sweeps

__all__ = ["calibrated", "folder"]


def above(level_db_spl: float, change_db: float):
    """A change of gain for whatever is driven to a level or more."""
    return lambda peak_dbfs: change_db if peak_dbfs > level_db_spl - FULL_SCALE_DB_SPL - 1.0 else 0.0


def held_at(level_db_spl: float):
    """A limiter that lets no peak pass that of a sweep at a level."""
    return lambda peak_dbfs: min(level_db_spl - FULL_SCALE_DB_SPL - peak_dbfs, 0.0)


def test_over_3_db_louder_than_expected_stops_before_the_next_level(folder) -> None:
    plan = plan_of(folder, 76.0, 86.0, 96.0)
    device = ScaledLoudspeaker(change_db=above(86.0, 4.0))
    with pytest.raises(TooLoudError, match=r"came out 4\.\d dB louder"):
        run(folder, device, plan)
    assert "sweep_76dB" in stems(folder)
    assert max(device.peaks_dbfs()) < 86.0 - FULL_SCALE_DB_SPL + 0.1


@pytest.mark.sample
def test_a_rung_on_record_that_was_too_loud_stops_the_next_run_until_it_is_rejected(folder) -> None:
    plan = plan_of(folder, 76.0, 86.0, 96.0)
    only = {"only": "sweep_86dB"}
    run(folder, ScaledLoudspeaker(), plan, only="sweep_76dB")
    with pytest.raises(TooLoudError, match=r"sweep_86dB came out 4\.0 dB louder about \d+ Hz"):
        run(folder, ScaledLoudspeaker(change_db=above(86.0, 4.0)), plan, **only)
    assert stems(folder) == ["sweep_76dB", "sweep_86dB"]
    mended = ScaledLoudspeaker()
    with pytest.raises(TooLoudError, match=r"default/sweep_86dB came out 4\.0 dB louder about \d+ Hz .* reject"):
        run(folder, mended, plan)
    assert mended.played == []
    reject(folder.inside("recordings", "default", "sweep_86dB.json"), "the volume slipped")
    run(folder, mended, plan)
    assert "sweep_96dB" in stems(folder)


def test_2_db_louder_is_recorded(folder) -> None:
    plan = plan_of(folder, 76.0, 86.0)
    assert len(run(folder, ScaledLoudspeaker(change_db=above(86.0, 2.0)), plan).recordings) == 4


@pytest.mark.parametrize("change_db", [8.0, 20.0])
def test_far_louder_breaks_the_sound_off(folder, change_db) -> None:
    """A gain turned up by 20 dB after the quiet run: the first take is stopped while it plays, and not kept."""
    plan = plan_of(folder, 76.0, 86.0, 96.0)
    device = ScaledLoudspeaker(change_db=above(76.0, change_db))
    with pytest.raises(TooLoudError, match=r"default/sweep_76dB: the microphone heard a peak above -3[78]\.\d dBFS"):
        run(folder, device, plan)
    assert stems(folder) == []
    assert len(device.played) == 3  # wake, quiet sweep, and the take that was stopped: it is not tried again


@pytest.mark.study
def test_the_ladder_ends_where_two_rungs_stand_still(folder) -> None:
    """Peaks are held at 80 dB SPL: 82 stands 6 dB less 2 above 76, 88 and 94 do not rise at all."""
    plan = plan_of(folder, 70.0, 76.0, 82.0, 88.0, 94.0, 100.0)
    device = ScaledLoudspeaker(change_db=held_at(80.0))
    measured = run(folder, device, plan)
    assert sweeps(measured) == [f"sweep_{level}dB" for level in (70, 76, 82, 88, 94)]
    assert "multitone_94dB" in stems(folder)
    ended = measured.ended
    assert ended is not None
    assert (ended.level_db_spl, ended.from_db_spl) == (94.0, 82.0)
    assert ended.rise_db == pytest.approx(0.0, abs=0.01)  # noise is 60 dB below
    assert ended.drive_db == pytest.approx(12.0, abs=1e-9)
    assert "the level series ends at 94 dB SPL. In the octave about" in ended_sentence("default", ended)

    found = check_session(folder, plan)
    assert found.wanted == ()
    assert {name: (end.level_db_spl, end.octave_hz) for name, end in found.ended.items()} == {
        "default": (94.0, ended.octave_hz)
    }

    idle = ScaledLoudspeaker(change_db=held_at(80.0))
    again = run(folder, idle, plan)
    assert again.recordings == ()
    assert again.ended is not None
    assert again.ended.level_db_spl == 94.0
    assert idle.played == []

    past = run(folder, idle, plan, past_limiting=True)
    assert sweeps(past) == ["sweep_100dB"]
    assert past.ended is None
    assert check_session(folder, plan).ended == {}


@pytest.mark.sample
def test_a_loudspeaker_that_still_rises_is_followed_to_the_top(folder) -> None:
    """0.25 dB per dB from 76 dB SPL on is over the 0.2 that count as standing still."""
    plan = plan_of(folder, 70.0, 76.0, 82.0, 88.0)
    start_dbfs = 76.0 - FULL_SCALE_DB_SPL
    device = ScaledLoudspeaker(change_db=lambda peak_dbfs: -0.75 * max(peak_dbfs - start_dbfs, 0.0))
    measured = run(folder, device, plan)
    assert sweeps(measured)[-1] == "sweep_88dB"
    assert measured.ended is None


def test_noise_is_not_taken_for_a_loudspeaker_that_stands_still() -> None:
    """In noise that hides it, nothing is said of a loudspeaker, whatever it does."""
    midband_hz = 1000.0 * 10.0 ** (np.arange(-3, 4) / 10.0)

    def answer(drive_dbfs: float, noise_db: float) -> ThirdOctaves:
        return ThirdOctaves(
            drive_dbfs=drive_dbfs,
            midband_hz=midband_hz,
            output_db_spl=np.full(7, 80.0),
            noise_db=np.full(7, noise_db),
        )

    quiet = {level: answer(level - 120.0, -60.0) for level in (80.0, 86.0, 92.0)}
    noisy = {level: answer(level - 120.0, -16.0) for level in (80.0, 86.0, 92.0)}
    assert standstill(quiet) is not None
    assert standstill(noisy) is None
    unread = ThirdOctaves(
        drive_dbfs=-40.0, midband_hz=midband_hz, output_db_spl=np.full(7, np.nan), noise_db=np.zeros(7)
    )
    assert louder(unread, quiet[80.0]) is None
