"""What is said of a recording before it is saved, and beside the others of its condition: limits just on either
side."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.common.curves import Response
from distort.analysis.common.sound_in_air import speed_of_sound_m_s
from distort.assembly.condition.against_others import _repeatability, against_others
from distort.capture.measuring.completeness import check_session
from distort.errors import RecordingError, WrongStimulusError
from distort.recording.alignment.locating import Alignment
from distort.recording.alignment.silences import Silences
from distort.recording.quality.check import Quality
from distort.recording.quality.check_result import CheckResult
from distort.recording.quality.examined import Examined, examine, least_rate_hz, likely_rate
from distort.recording.quality.not_found import why_not_found
from distort.session.audio.resampling import resample
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.stored import Recording, save_recording
from signals import Multitone, Reel, Silence, Sweep, framed
from tests.session_examples import SIDECAR

RATE = 8000
SWEEP = Sweep(seconds=1.8, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0, drive_dbfs=-30.0)
REEL = framed(SWEEP)


def recorded(reel: Reel = REEL, *, noise: float = 1e-6, seed: int = 1) -> np.ndarray:
    samples = np.pad(reel.samples(), (400, 800))
    return samples + noise * np.random.default_rng(seed).standard_normal(samples.size)


# --- before it is saved ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("difference", "interval", "stated"),
    [
        (math.nan, math.nan, None),
        (0.009, 0.001, 0.0),
        (0.011, 0.001, 0.011),
        (0.145, 0.1, 0.0),  # one and a half intervals of 95 % are three deviations
        (-0.155, 0.1, -0.155),
    ],
)
def test_a_clock_difference_is_stated_that_is_no_noise_and_matters(difference, interval, stated):
    alignment = Alignment(
        stimulus_start=0.0,
        chirp_positions=(),
        clock_difference_ppm=difference,
        clock_uncertainty_ppm=interval,
        polarity=1,
        peak_to_background_db=(),
        stimulus_peak_to_background_db=math.nan,
        silences=Silences(),
    )
    assert Examined(alignment=alignment, quality=Quality(verdict="good", findings=())).clock_difference_ppm() == stated


def test_what_goes_into_the_sidecar():
    """Numbers as they are, and none for what is no number; a sentence for all that is not good."""
    findings = (
        CheckResult(name="a", value=1.5, unit="dB", threshold=2.0, verdict="good", sentence="Good."),
        CheckResult(name="b", value=math.nan, unit="dB", threshold=math.inf, verdict="usable", sentence="Careful."),
    )
    alignment = examine(recorded(), REEL, what="it", microphone=False).alignment
    said = Examined(alignment=alignment, quality=Quality(verdict="usable", findings=findings)).for_sidecar()
    assert said.findings == ("Careful.",)
    assert [(one.value, one.threshold) for one in said.checks] == [(1.5, 2.0), (None, None)]


def test_a_sample_rate_must_hold_the_stimulus_as_far_as_results_go():
    """A sweep to 3.9 kHz takes 7.8 kHz, a multitone twice its highest line; one to 22 kHz the grid's end, 19.95 kHz."""
    assert least_rate_hz(REEL) == 7800.0
    tone = Multitone(low_hz=100.0, high_hz=3000.0, period_s=0.5, sample_rate=RATE, lines_per_decade=8.0)
    assert least_rate_hz(framed(tone)) == pytest.approx(2.0 * tone.line_hz[-1])
    assert least_rate_hz(framed(Sweep())) == pytest.approx(2.0 * 19952.623, abs=0.01)
    examine(recorded(), REEL, what="it", as_stored=recorded(), stated_hz=7800, microphone=False)
    with pytest.raises(RecordingError, match=r"was recorded at 7799 Hz and holds nothing above 3899\.5 Hz"):
        examine(recorded(), REEL, what="it", as_stored=recorded(), stated_hz=7799, microphone=False)


def test_what_is_refused_is_told_by_its_first_reason():
    with pytest.raises(RecordingError, match="it is empty"):
        examine(np.zeros(0), REEL, what="it")
    with pytest.raises(WrongStimulusError, match="another stimulus"):
        examine(recorded(framed(replace(SWEEP, seconds=2.6))), REEL, what="it")
    held = np.clip(recorded(), -0.02, 0.02)
    with pytest.raises(RecordingError, match=r"samples are clipped at -34\.0 dBFS"):
        examine(held, REEL, what="it", microphone=False)
    other = Multitone(low_hz=100.0, high_hz=3800.0, period_s=0.5, sample_rate=RATE, lines_per_decade=16.0, periods=6)
    with pytest.raises(WrongStimulusError, match="another multitone"):
        examine(recorded(framed(other)), framed(replace(other, seed=3)), what="it")


def test_a_rate_that_is_stated_wrongly_is_found():
    """A sweep at 48 kHz in a file that says 44.1: nothing is found at that rate, and the likely one is told."""
    sweep = Sweep(seconds=1.0, start_hz=100.0, full_level_hz=150.0, stop_hz=20000.0)
    quiet = Silence(seconds=0.5)
    reel = Reel((quiet, sweep, quiet))
    stored = reel.samples() + 1e-5 * np.random.default_rng(1).standard_normal(reel.n_samples)
    assert likely_rate(stored, reel, stated_hz=44_100) == 48_000
    for rate_hz in (44_100, 96_000):
        made = resample(stored, from_rate=48_000, to_rate=rate_hz)
        assert likely_rate(made, reel, stated_hz=48_000) == rate_hz
    assert likely_rate(np.random.default_rng(2).standard_normal(stored.size), reel, stated_hz=48_000) is None
    reel = framed(sweep)
    stored = reel.samples() + 1e-5 * np.random.default_rng(1).standard_normal(reel.n_samples)
    wrong = resample(stored, from_rate=44_100, to_rate=48_000)
    with pytest.raises(RecordingError, match="states 44100 Hz, but holds the stimulus as recorded at 48000 Hz"):
        examine(wrong, reel, what="it", as_stored=stored, stated_hz=44_100)


def test_how_much_of_a_multitone_is_missing():
    """Stopped after 2.2 of its six periods: found by its chirp, and told from another by the phases of its lines."""
    tone = Multitone(low_hz=100.0, high_hz=3800.0, period_s=0.5, sample_rate=RATE, lines_per_decade=16.0, periods=6)
    reel = framed(tone)
    error = RecordingError("Nothing matches.")
    end = 400 + reel.only_stimulus()[0] + round(2.2 * tone.period_samples)
    cut = recorded(reel)[:end]
    missing_s = (tone.n_samples - 2.2 * tone.period_samples) / RATE
    found = why_not_found(cut, reel, error)
    assert found.name == "cut_off"
    assert f"stops {missing_s:.1f} s before" in found.sentence
    assert why_not_found(cut, framed(replace(tone, seed=9)), error).name == "stimulus"
    less_than_a_period = cut[: end - round(1.3 * tone.period_samples)]
    assert why_not_found(less_than_a_period, reel, error).name == "stimulus"


# --- beside the others of its condition ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> SessionFolder:
    root = tmp_path_factory.mktemp("work") / "monitor"
    assert main(["new", str(root), "--levels", "76,86", "--conditions", "desk,stand"]) == 0
    return SessionFolder(root)


LATE = "2024-05-01T12:59:00+00:00"
FULL_SCALE_DB_SPL = 86.0 + 30.0
"""So that a drive of -30 dBFS, recorded as it is at a metre, is 86 dB SPL."""
CALIBRATION = CalibrationInForce(calibrator_dbfs=94.0 - FULL_SCALE_DB_SPL, calibrator_db_spl=94.0, sha256="c" * 64)


_takes = itertools.count(20)


def saved(
    folder: SessionFolder, *, take: int | None = None, gain_db: float = 0.0, samples=None, **changes
) -> Recording:
    take = next(_takes) if take is None else take
    sidecar = replace(
        SIDECAR,
        take=take,
        drive_dbfs=-30.0,
        stimulus=SWEEP,
        reel=REEL,
        stimulus_start_sample=400.0 + REEL.only_stimulus()[0],
        sample_rate=RATE,
        turned_db=0.0,
        clock_difference_ppm=0.0,
        calibration=CALIBRATION,
        setup=replace(SIDECAR.setup, distance_m=1.0),
        date="2024-05-01T12:30:00+00:00",
    )
    heard = recorded(seed=take) * 10.0 ** (gain_db / 20.0) if samples is None else samples
    return save_recording(folder, heard, replace(sidecar, **changes))


def said(folder: SessionFolder, *recordings: Recording) -> dict[str, dict[str, CheckResult]]:
    found = against_others(recordings, read_plan(folder.root))
    return {stem: {one.name: one for one in findings} for stem, findings in found.items()}


@pytest.mark.parametrize(("off_db", "verdict"), [(2.9, "good"), (3.1, "usable"), (-2.9, "good"), (-3.1, "usable")])
def test_levels_are_the_nominal_ones_within_three_decibels(folder, off_db, verdict):
    """The volume that was turned is taken off: 6 dB more are 6 dB more."""
    one = saved(folder, gain_db=off_db)
    turned = saved(folder, gain_db=off_db + 6.0, turned_db=6.0)
    for recording in (one, turned):
        finding = next(iter(said(folder, recording).values()))["level_spl"]
        assert finding.value == pytest.approx(off_db, abs=0.05)
        assert (finding.verdict, finding.threshold) == (verdict, 3.0)
    bare = replace(one, sidecar=replace(one.sidecar, calibration=None))
    assert "level_spl" not in next(iter(said(folder, bare).values()))


@pytest.mark.parametrize(("more_db", "verdict"), [(0.28, "good"), (-0.28, "good"), (0.32, "usable")])
def test_takes_repeat_within_three_tenths_of_a_decibel(folder, more_db, verdict):
    first, again = saved(folder), saved(folder, gain_db=more_db, date=LATE)
    found = said(folder, again, first)
    assert set(found[first.sidecar.name.stem]) == {"level_spl"}  # the first has none to be held against
    findings = found[again.sidecar.name.stem]
    assert findings["repeatability"].value == pytest.approx(abs(more_db), abs=0.01)
    assert (findings["repeatability"].verdict, findings["repeatability"].threshold) == (verdict, 0.3)
    assert findings["noise_during"].verdict == "good"
    assert findings["noise_during"].threshold == 10.0


@pytest.mark.parametrize(("over_db", "differs_db"), [(19.0, 0.0), (21.0, 0.2)])
def test_takes_are_held_against_each_other_where_both_are_20_decibels_over_their_noise(folder, over_db, differs_db):
    """A quarter of the rows differs by 0.4 dB and is so far over the noise of one take: r.m.s. 0.4 / sqrt(4), or 0."""
    rows = np.arange(80)
    one = Response(
        frequency_hz=100.0 + rows,
        level_db=np.full(80, 60.0),
        phase_deg=np.zeros(80),
        noise_db=np.where(rows < 20, 60.0 - over_db, 0.0),
        unit="db_spl",
        delay_s=0.0,
        lowest_valid_hz=100.0,
    )
    other = replace(one, level_db=np.where(rows < 20, 60.4, 60.0), noise_db=np.zeros(80))
    first = saved(folder)
    for pair in ((one, other), (other, one)):
        assert _repeatability(*pair, first).value == pytest.approx(differs_db)


def test_a_noise_that_came_during_one_take_is_told(folder):
    first = saved(folder)
    noisy = recorded(seed=131)
    place = 400 + REEL.only_stimulus()[0] + 2 * 800
    noisy[place : place + 800] += 3e-4 * np.random.default_rng(1).standard_normal(800)
    spoilt = saved(folder, samples=noisy, date=LATE)
    finding = said(folder, first, spoilt)[spoilt.sidecar.name.stem]
    assert finding["noise_during"].verdict == "usable"
    assert "0.2 s into the sweep" in finding["noise_during"].sentence


@pytest.mark.parametrize(("early_s", "verdict"), [(2.9e-4, "good"), (3.1e-4, "usable")])
def test_sound_comes_no_sooner_than_through_the_air(folder, early_s, verdict):
    """The plan's distance at its temperature, less 0.3 ms: ten centimetres."""
    plan = read_plan(folder.root)
    air_s = plan.setup.distance_m / speed_of_sound_m_s(plan.setup.temperature_c)
    finding = next(iter(said(folder, saved(folder, sound_delay_s=air_s - early_s)).values()))["delay"]
    assert finding.verdict == verdict
    assert finding.value == pytest.approx(1e3 * (air_s - early_s))
    assert finding.threshold == pytest.approx(1e3 * (air_s - 3e-4))


def test_what_a_session_still_lacks(tmp_path):
    """Two levels of sweep and multitone in two conditions: what is there, rejected or replaced is counted by stimulus
    and level, whatever the number of the take."""
    root = tmp_path / "monitor"
    assert main(["new", str(root), "--levels", "76,86", "--conditions", "desk,stand"]) == 0
    text = (root / "session.toml").read_text(encoding="utf-8")
    for key, value in (("short", "false"), ("repeat_reference", "false")):
        text = "\n".join(f"{key} = {value}" if line.startswith(f"{key} = ") else line for line in text.splitlines())
    (root / "session.toml").write_text(text + "\n", encoding="utf-8")
    folder = SessionFolder(root)

    def lacking() -> list[tuple[str, str, str]]:
        found = check_session(folder, read_plan(root))
        return [(one.condition, one.name.stem, one.why) for one in found.wanted]

    everything = [(condition, stem, "missing") for condition in ("desk", "stand") for stem in _STEMS]
    assert sorted(lacking()) == sorted(everything)
    saved(folder, take=1)
    assert sorted(lacking()) == sorted(one for one in everything if one[:2] != ("desk", "sweep_86dB"))
    first = saved(folder, take=1, condition="stand", rejected="a lorry passed")
    assert ("stand", "sweep_86dB", "rejected") in lacking()
    assert ("stand", "sweep_86dB", "missing") not in lacking()
    saved(folder, take=5, condition="stand")
    assert not any(stem.startswith("sweep_86dB") for _, stem, _ in lacking())
    found = check_session(folder, read_plan(root))
    assert found.recorded == 2
    assert len(found.doubtful) == 2  # the example's quality is "usable"
    assert found.uncalibrated == ()
    assert not found.complete
    assert found.simulated
    assert found.damaged == ()
    first.files.audio_path.write_bytes(b"spoilt")
    assert check_session(folder, read_plan(root)).damaged == ()  # it was rejected
    folder.recording("desk", first.sidecar.name, ".flac").audio_path.write_bytes(b"spoilt")
    assert len(check_session(folder, read_plan(root)).damaged) == 1


_STEMS = ("sweep_76dB", "sweep_86dB", "multitone_76dB", "multitone_86dB")
