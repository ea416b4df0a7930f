"""What is looked at before anything loud is played, on a loudspeaker that is known in closed form."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.measuring.expected import expected_peak_dbfs, signal_to_noise_db
from distort.capture.measuring.playing import Measured, measure
from distort.capture.measuring.quiet_run import QUIET_DRIVE_DBFS, play_quiet_sweep
from distort.capture.measuring.starting import Choice, get_ready, require_calibration
from distort.errors import CalibrationError, PlanError, RecordingError, TooLoudError, UsageError
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.plan.reading import read_plan
from distort.session.recordings.stimulus_files import planned
from distort.session.recordings.stored import load_recordings
from signals.levels import rms_dbfs
from tests.clumsy_session import RATE, shorten
from tests.devices.scaled import ScaledLoudspeaker

FULL_SCALE_DB_SPL = 120.0
"""Of a wire: what a drive of 0 dBFS gives at 1 m."""


def calibrate(folder: SessionFolder, full_scale_db_spl: float) -> None:
    """A calibrator of 94 dB SPL, as an input of that full scale records it."""
    amplitude = 10.0 ** ((94.0 - full_scale_db_spl) / 20.0)
    tone = amplitude * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(round(3.3 * RATE)))
    calibrate_from_samples(folder, tone, RATE, db_spl=94.0, device="scaled", replace=True)


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory) -> Path:
    """A session that was calibrated and nothing else, which no test may change."""
    made = SessionFolder(tmp_path_factory.mktemp("calibrated") / "monitor")
    assert main(["new", str(made.root), "--levels", "70:94:6"]) == 0
    shorten(made.root, rest_s="3.0", period_s="0.25")
    calibrate(made, FULL_SCALE_DB_SPL)
    return made.root


@pytest.fixture
def folder(calibrated, tmp_path) -> SessionFolder:
    return SessionFolder(Path(shutil.copytree(calibrated, tmp_path / "monitor")))


def plan_of(folder: SessionFolder, *levels: float) -> Plan:
    plan = read_plan(folder.root)
    return replace(plan, levels=replace(plan.levels, db_spl=levels)) if levels else plan


def run(folder: SessionFolder, device: ScaledLoudspeaker, plan: Plan, condition: str = "default", **more) -> Measured:
    chosen = Choice(condition=condition, **more)
    return measure(folder, plan, device, chosen, progress=lambda what, done, total: None)


def stems(folder: SessionFolder, condition: str = "default") -> list[str]:
    return sorted(one.name.stem for one in folder.recordings(condition))


def sweeps(measured: Measured) -> list[str]:
    return [one.sidecar.name.stem for one in measured.recordings if one.sidecar.stimulus_name == "sweep"]


@pytest.mark.sample
def test_it_wakes_then_finds_the_drives_quietly_then_rises_with_rests(folder) -> None:
    device = ScaledLoudspeaker()
    run(folder, device, plan_of(folder, 86.0, 92.0))
    noise, quiet = device.played[:2]
    assert noise.size == 3 * RATE
    # noise of some seconds has its r.m.s. by construction
    assert rms_dbfs(noise) == pytest.approx(QUIET_DRIVE_DBFS, abs=0.01)
    assert device.peaks_dbfs()[1] == pytest.approx(QUIET_DRIVE_DBFS, abs=0.01)
    assert quiet.size < device.played[2].size
    sweep_peaks = [device.peaks_dbfs()[2], device.peaks_dbfs()[4]]
    # a wire's level is its drive; the band mean of a short sweep is off by thousandths of a decibel
    assert sweep_peaks == pytest.approx([86.0 - FULL_SCALE_DB_SPL, 92.0 - FULL_SCALE_DB_SPL], abs=0.02)
    assert device.rests == [3.0, 3.0, 3.0]
    assert all(guard is not None for guard in device.guards)


@pytest.mark.sample
def test_the_drives_are_kept_for_the_next_condition(folder) -> None:
    plan = plan_of(folder, 86.0)
    run(folder, ScaledLoudspeaker(), plan, "stand")
    louder_there = ScaledLoudspeaker(gain_db=2.5)
    run(folder, louder_there, plan, "desk")
    drives = {one.sidecar.drive_dbfs for name in ("stand", "desk") for one in load_recordings(folder, name)}
    assert len(drives) == 1


@pytest.mark.sample
def test_relevel_finds_them_anew_and_keeps_the_old_ones(folder) -> None:
    plan = replace(plan_of(folder, 86.0), setup=replace(plan_of(folder).setup, conditions=("stand", "desk")))
    run(folder, ScaledLoudspeaker(), plan, "stand")
    path = folder.calibration_path("drive.json")
    before = read_sensitivity(path)
    assert before is not None
    with pytest.raises(UsageError, match="one ladder needs one set of drives"):
        run(folder, ScaledLoudspeaker(), plan, "stand", relevel=True)
    assert read_sensitivity(path) == before
    calibrate(folder, FULL_SCALE_DB_SPL + 2.0)
    with pytest.raises(CalibrationError, match="--relevel finds them anew"):
        run(folder, ScaledLoudspeaker(), plan, "desk")
    run(folder, ScaledLoudspeaker(gain_db=-2.0), plan, "desk", relevel=True)
    after = read_sensitivity(path)
    assert after is not None
    assert after.db_spl == pytest.approx(before.db_spl, abs=0.02)
    asides = list(path.parent.glob("drive_found_*.json"))
    assert [read_sensitivity(aside) for aside in asides] == [before]


def test_the_input_must_not_clip(folder) -> None:
    """Full scale stands for 96 dB SPL; a wire amplified by 20 dB gives 116 dB SPL at 0 dBFS."""
    calibrate(folder, 96.0)
    device = ScaledLoudspeaker(gain_db=20.0)
    # the multitone's peak counts 10 dB above a tone's: at 90.5 dB SPL it is at +4.5 dBFS, 5.5 dB above the limit of -1
    with pytest.raises(RecordingError, match=r"multitone_90\.5dB would reach \+4\.5 dBFS .* Lower its gain by 6 dB"):
        run(folder, device, plan_of(folder, 76.0, 90.5))
    assert max(device.peaks_dbfs()[1:]) < QUIET_DRIVE_DBFS + 0.1
    assert not folder.calibration_path("drive.json").exists()
    assert sweeps(run(folder, ScaledLoudspeaker(gain_db=20.0), plan_of(folder, 76.0, 84.0)))


def test_the_microphone_must_stand_it(folder) -> None:
    """Peaks count as those of a tone: 10 dB above the r.m.s. of the multitone, so 104 dB SPL at 94."""
    plan = plan_of(folder)
    stands = replace(plan, microphone=replace(plan.microphone, max_db_spl=105.0))
    breaks = replace(plan, microphone=replace(plan.microphone, max_db_spl=103.0))
    device = ScaledLoudspeaker()
    with pytest.raises(PlanError, match=r"multitone_94dB .* above \[microphone\] max_db_spl = 103"):
        run(folder, device, breaks)
    assert max(device.peaks_dbfs()[1:]) < QUIET_DRIVE_DBFS + 0.1
    run(folder, device, stands, only="sweep_70dB")


def test_the_noise_must_allow_the_lowest_level(folder) -> None:
    """White noise of r.m.s. s has `s^2 B / (rate / 2)` in a band B; band_hz is 300 to 3000 Hz, 3.32 octaves."""
    noise = 10.0 ** (-75.0 / 20.0)
    plan = plan_of(folder, 30.0, 76.0)
    quiet = play_quiet_sweep(ScaledLoudspeaker(noise=noise), plan, require_calibration(folder))
    in_octave_dbfs = 10.0 * np.log10(2.0 * noise**2 * 2700.0 / (RATE / 2) / np.log2(10.0))
    # two seconds of silence twice, in 2,700 Hz: the estimate of noise power scatters by 0.05 dB
    assert signal_to_noise_db(quiet, plan, -60.0) == pytest.approx(-60.0 - in_octave_dbfs, abs=0.2)
    device = ScaledLoudspeaker(noise=noise)
    with pytest.raises(RecordingError, match=r"at 30 dB SPL the sweep would stand only -?\d+ dB above the noise"):
        run(folder, device, plan)
    assert max(device.peaks_dbfs()[1:]) < QUIET_DRIVE_DBFS + 0.1
    assert stems(folder) == []


def test_the_ceiling_holds_where_another_condition_is_louder(folder) -> None:
    plan = replace(plan_of(folder, 94.0), safety=replace(plan_of(folder).safety, ceiling_db_spl=96.0))
    run(folder, ScaledLoudspeaker(), plan, "stand")
    device = ScaledLoudspeaker(gain_db=4.0)
    with pytest.raises(PlanError, match=r"would give 98\.\d dB SPL where it is loudest, above \[safety\] ceiling"):
        run(folder, device, plan, "desk")
    assert len(device.played) == 2


def test_what_is_expected_at_the_input_is_what_comes(folder) -> None:
    """A wire: the peak of a sweep is its drive, that of a multitone at most 10 dB more."""
    plan = plan_of(folder, 86.0)
    quiet = play_quiet_sweep(ScaledLoudspeaker(), plan, require_calibration(folder))
    sweep, multitone = (one for one in planned(plan, {86.0: -34.0}))
    # a sweep of 1.6 s reads its own lowest rows up to 0.4 dB high
    assert -34.0 < expected_peak_dbfs(quiet, sweep) < -33.5
    peak_dbfs = 20.0 * np.log10(np.max(np.abs(multitone.stimulus.samples())))
    # lines between the rows of the grid read a wire within some hundredths of a decibel
    assert expected_peak_dbfs(quiet, multitone) == pytest.approx(-34.0 + 10.0, abs=0.1)
    assert peak_dbfs < -34.0 + 10.0


@pytest.mark.first(1)
@pytest.mark.parametrize("turned_db", [3.5, 20.0])
def test_a_volume_turned_up_since_the_drives_were_found_is_heard_quietly(folder, turned_db) -> None:
    plan = plan_of(folder, 86.0, 92.0)
    run(folder, ScaledLoudspeaker(), plan, only="sweep_86dB")
    device = ScaledLoudspeaker(gain_db=turned_db)
    with pytest.raises(TooLoudError, match=rf"is {turned_db} dB louder than when its drives were found"):
        run(folder, device, plan)
    assert len(device.played) == 2
    assert stems(folder) == ["sweep_86dB"]


@pytest.mark.sample
def test_a_multitone_that_came_out_too_loud_is_said_again_until_it_is_rejected(folder, capsys) -> None:
    """Beyond -30 dBFS this one gives 4 dB more: a multitone peaks some 10 dB above its drive of -34 dBFS for 86 dB SPL,
    a sweep at it. What is said again is what is on record: neither is a volume turned up now, nor a sweep too loud."""
    plan = plan_of(folder, 86.0)
    expander = ScaledLoudspeaker(change_db=lambda peak_dbfs: 4.0 if peak_dbfs > -30.0 else 0.0)
    with pytest.raises(TooLoudError, match=r"stopped: default/multitone_86dB came out 4\.0 dB louder"):
        run(folder, expander, plan)
    assert "multitone_86dB" in stems(folder)
    device = ScaledLoudspeaker()
    with pytest.raises(TooLoudError, match=r"nothing louder is played: default/multitone_86dB came out 4\.0 dB louder"):
        run(folder, device, plan, again=True)
    assert device.played == []
    words = ["reject", str(folder.root), "default/multitone_86dB", "--reason", "an expander, since switched off"]
    assert main(words) == 0
    run(folder, device, plan, only="multitone_86dB", again=True)
    assert stems(folder) == ["multitone_86dB", "multitone_86dB_take2", "sweep_86dB"]


def test_one_turned_down_is_said(folder) -> None:
    plan = plan_of(folder, 86.0)
    run(folder, ScaledLoudspeaker(), plan, only="sweep_86dB")
    ready = get_ready(folder, plan, ScaledLoudspeaker(gain_db=-10.0), Choice(condition="default"))
    assert "10.0 dB quieter than when its drives were found" in " ".join(ready.notes)


def test_with_a_calibration_wrong_by_20_db_nothing_passes_the_cap(folder) -> None:
    """A calibrator of 114 dB taken for 94: every sound is taken for 20 dB less than it is, and driven 20 dB up."""
    calibrate(folder, FULL_SCALE_DB_SPL - 20.0)
    device = ScaledLoudspeaker()
    with pytest.raises(PlanError, match=r"needs a drive of -5\.\d dBFS, above \[safety\] max_drive_dbfs = -6"):
        run(folder, device, plan_of(folder, 86.0, 94.5))
    assert max(device.peaks_dbfs()[1:]) < QUIET_DRIVE_DBFS + 0.1
    assert not folder.calibration_path("drive.json").exists()


def test_a_word_that_the_plan_does_not_have_is_told_before_any_sound(folder) -> None:
    device = ScaledLoudspeaker()
    with pytest.raises(UsageError, match="the plan has no 'sweep_99dB'"):
        run(folder, device, plan_of(folder), only="sweep_99dB")
    assert device.played == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"lines_per_decade": "100", "period_s": "0.25"}, "100 lines a decade leave no free bin"),
        ({"period_s": "0.1234567"}, "is 5925.9216 samples at 48000 Hz"),
    ],
)
def test_a_multitone_that_cannot_be_is_told_before_any_sound(folder, asked, said) -> None:
    shorten(folder.root, **asked)
    device = ScaledLoudspeaker()
    with pytest.raises(PlanError, match=rf"\[multitone\] makes no multitone: .*{said}"):
        run(folder, device, plan_of(folder))
    assert device.played == []
