"""Recordings of a condition put together: which belong to one level, how they are driven, and what two conditions have
in common; on small recordings at a low sample rate whose gains are known."""

import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.common import quantities as kinds
from distort.analysis.common.curves import Response
from distort.analysis.common.grid import grid_hz
from distort.analysis.common.quantities import from_comparison
from distort.analysis.comparison.significance import BROAD_OCTAVES, Curve
from distort.analysis.multitone.settling import Settling
from distort.analysis.sweep.sweeps import Settings
from distort.assembly.comparison.setup_differences import unlike
from distort.assembly.comparison.side import Side
from distort.assembly.condition.curves import curves_of
from distort.assembly.condition.level_series import multitone_ladder, stated, sweep_ladder
from distort.assembly.condition.levels import LevelsRead, all_read, readings_of
from distort.errors import AnalysisError
from distort.recording.clocks import REST_BEFORE_DRIFT_S, recorded_at_s
from distort.recording.reading import read_multitone_takes, read_sweep_takes
from distort.recording.takes import levels_of, reference_for, takes_of_each_level
from distort.report.text.comparison import meaning_words
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.condition import read_condition
from distort.session.recordings.stored import Recording, save_recording
from signals import Multitone, Sweep, framed
from tests.session_examples import SIDECAR

RATE = 8000
HZ = grid_hz()
FULL_SCALE_DB_SPL = 94.0 + 26.0
CALIBRATION = CalibrationInForce(calibrator_dbfs=-26.0, calibrator_db_spl=94.0, sha256="c" * 64)
SETUP = replace(SIDECAR.setup, distance_m=2.0)
GAIN = 0.5
LEVELS = {76.0: -40.0, 86.0: -30.0, 96.0: -20.0}
"""Drives, dBFS."""
LOST_DB = {76.0: 0.0, 86.0: 0.0, 96.0: 1.0}
OUTPUT_DB = {
    level: drive + 20 * np.log10(GAIN) + FULL_SCALE_DB_SPL + 6.0206 - LOST_DB[level] for level, drive in LEVELS.items()
}
"""SPL at 1 m: drive, gain, full scale and 20 lg 2 for two metres."""
READABLE = (HZ > 130.0) & (HZ < 3000.0)


def stimulus_of(name: str, drive_dbfs: float):
    if name == "multitone":
        return Multitone(
            low_hz=100.0,
            high_hz=3600.0,
            lines_per_decade=8.0,
            period_s=0.5,
            sample_rate=RATE,
            periods=12,
            settling_periods=1,
            drive_dbfs=drive_dbfs,
        )
    seconds = 0.9 if name == "sweep-short" else 1.8
    return Sweep(
        seconds=seconds, sample_rate=RATE, start_hz=50.0, full_level_hz=70.0, stop_hz=3900.0, drive_dbfs=drive_dbfs
    )


def made(
    folder: SessionFolder, level: float, *, name: str = "sweep", gain_db: float = 0.0, seed: int = 1, **changes
) -> Recording:
    """A recording of a device of known gain, which loses 1 dB at the highest level, saved in the session."""
    stimulus = stimulus_of(name, LEVELS[level])
    reel = framed(stimulus)
    played = np.pad(reel.samples(), (400, 800))
    heard = GAIN * played * 10.0 ** ((gain_db - LOST_DB[level]) / 20.0)
    heard = heard + 1e-6 * np.random.default_rng(seed).standard_normal(heard.size)
    sidecar = replace(
        SIDECAR,
        **{
            "stimulus_name": name,
            "level_db_spl": level,
            "drive_dbfs": LEVELS[level],
            "stimulus": stimulus,
            "reel": reel,
            "stimulus_start_sample": 400.0 + reel.only_stimulus()[0],
            "sample_rate": RATE,
            "turned_db": 0.0,
            "calibration": CALIBRATION,
            "setup": SETUP,
            "clock_difference_ppm": 0.0,
        }
        | changes,
    )
    return save_recording(folder, heard, sidecar)


def minutes(number: float) -> str:
    return f"2024-05-01T12:{int(number):02d}:{round(60 * (number % 1)):02d}+00:00"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> SessionFolder:
    root = tmp_path_factory.mktemp("work") / "monitor"
    assert main(["new", str(root), "--levels", "76,86,96", "--conditions", "desk,stand"]) == 0
    text = (root / "session.toml").read_text(encoding="utf-8")
    lines = ["orders = 3" if line.startswith("orders = ") else line for line in text.splitlines()]
    (root / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return SessionFolder(root)


@pytest.fixture(scope="module")
def desk(folder) -> list[Recording]:
    """Three levels, the lowest twice; short sweeps that lose half as much; the reference again at once and after a
    rest."""
    found = [made(folder, level, date=minutes(place), seed=place) for place, level in enumerate(LEVELS)]
    found.append(made(folder, 76.0, take=2, gain_db=0.1, date=minutes(0.5), seed=11))
    for level in (76.0, 96.0):
        found.append(made(folder, level, name="sweep-short", gain_db=0.5 * LOST_DB[level], date=minutes(4), seed=12))
    found.append(
        made(folder, 76.0, after=True, take=1, gain_db=-0.3, rest_s=REST_BEFORE_DRIFT_S - 1.0, date=minutes(5))
    )
    found.append(made(folder, 76.0, after=True, take=2, gain_db=0.2, rest_s=REST_BEFORE_DRIFT_S, date=minutes(8)))
    found.append(made(folder, 76.0, after=True, take=3, gain_db=3.0, rest_s=None, date=minutes(9)))
    found += [made(folder, level, name="multitone", date=minutes(10 + place)) for place, level in enumerate(LEVELS)]
    return found


SETTINGS = Settings(orders=3)


def read_all(folder: SessionFolder, recordings: list[Recording]) -> LevelsRead:
    """What `recordings` say, as if they were all that the session holds of their condition."""
    recorded = replace(read_condition(folder, read_plan(folder.root), "desk"), recordings=tuple(recordings))
    levels = levels_of(recorded)
    found = all_read(readings_of(levels, SETTINGS), "reading", threads=1, progress=lambda *_: None)
    return LevelsRead(levels=found, clock=levels.clock)


def test_what_is_read_of_one_level(desk):
    """Drive, gain, calibration and distance: 20 lg 0.5 below the drive, full scale at 120 dB SPL, 6.02 dB for two
    metres."""
    read = read_sweep_takes([desk[1]], SETTINGS)
    assert len(read.readings) == 3
    reference = reference_for([desk[1]])
    assert reference.offset_db == pytest.approx(FULL_SCALE_DB_SPL + 6.0206, abs=1e-4)
    level_db = 10 * np.log10(read.readings[0].power) + LEVELS[86.0] + reference.offset_db
    np.testing.assert_allclose(level_db[READABLE], OUTPUT_DB[86.0], atol=0.02)
    assert reference_for([replace(desk[1], sidecar=replace(desk[1].sidecar, calibration=None))]).unit == "dbfs"
    # a short sweep holds fewer orders than are asked for: gap(n) must be 30 ms
    short = next(one for one in desk if one.sidecar.stimulus_name == "sweep-short")
    rate_s = short.sidecar.stimulus.rate_s
    most = max(n for n in range(1, 40) if rate_s * np.log((n + 1) / n) >= 0.03)
    assert len(read_sweep_takes([short], replace(SETTINGS, orders=30)).readings) == most


def test_the_ladder_of_a_condition(folder, desk):
    """Change: what the highest level lost; the lowest is a mean of two takes, 0.05 dB up. Bias: half of the loss is
    missing in the short sweep. The reference is repeated hot (0.3 dB less) and rested (0.2 dB more); a third repeat, of
    which nobody knows the rest, is neither."""
    read = read_all(folder, desk)
    assert {level: len(one.takes) for level, one in read.sweeps.items()} == {76.0: 2, 86.0: 1, 96.0: 1}
    found = sweep_ladder(read)
    middle = 10 * np.log10(((1.0 + 10.0**0.005) / 2.0) ** 2)  # two takes are averaged as amplitudes
    changes = [float(np.mean(level.change_db[READABLE])) for level in found.levels]
    assert changes == pytest.approx([0.0, -middle, -1.0 - middle], abs=0.005)
    assert [level.drive_dbfs for level in found.levels] == [-40.0, -30.0, -20.0]
    bias = float(np.mean(found.levels[2].bias_db[READABLE]))
    assert bias == pytest.approx(0.5 + middle, abs=0.02)
    assert np.isnan(found.levels[1].bias_db).all()  # no short sweep at that level
    assert found.repeated == "hot and rested"
    assert float(np.mean(found.heating_db[READABLE])) == pytest.approx(-0.3 - middle, abs=0.01)
    assert float(np.mean(found.drift_db[READABLE])) == pytest.approx(0.2 - middle, abs=0.01)
    assert len(found.repeats) == 2
    # one take's scatter: 0.1 dB apart, 0.005 dB squared; Student's 12.7 on one degree of freedom, means of 1 and 2
    expected = 12.7062 * np.sqrt(0.005 * 1.5)
    np.testing.assert_allclose(np.median(found.levels[1].uncertainty_db[READABLE]), expected, rtol=0.05)
    ladder = stated(found, "sweep", lowest_valid_hz=130.0, duration_s=1.8)
    assert len(ladder.found.lags) == 1
    assert ladder.found.drive_dbfs == (-40.0, -30.0, -20.0)
    assert stated(found, "sweep", lowest_valid_hz=130.0).found.lags == ()


@pytest.mark.sample
def test_a_volume_that_was_turned_counts_as_drive(folder, desk):
    turned = [
        replace(one, sidecar=replace(one.sidecar, turned_db=6.0 if one.sidecar.level_db_spl == 86.0 else 0.0))
        for one in desk
    ]
    read = read_all(folder, turned)
    found = sweep_ladder(read)
    assert [level.drive_dbfs for level in found.levels] == [-40.0, -24.0, -20.0]
    assert float(np.mean(found.levels[1].change_db[READABLE])) == pytest.approx(-6.0, abs=0.1)
    unsaid = [replace(one, sidecar=replace(one.sidecar, turned_db=None)) for one in desk]
    with pytest.raises(AnalysisError, match="nobody said by how much the volume was turned"):
        sweep_ladder(read_all(folder, unsaid))
    # the equivalent input is re the input, which the volume turned up by 6 dB: it is 6 dB lower; unsaid it is unknown
    plain, louder, unknown = (
        [level.orders[0].equivalent_input_db[READABLE] for level in curves_of(read_all(folder, one), None).harmonics]
        for one in (desk, turned, unsaid)
    )
    inside = 2 * HZ[READABLE] < 3000.0  # the sweep ends at 3.9 kHz
    np.testing.assert_allclose((louder[1] - plain[1])[inside], -6.0, atol=1e-9)
    np.testing.assert_allclose((louder[2] - plain[2])[inside], 0.0, atol=1e-9)
    assert [bool(np.isfinite(one).any()) for one in unknown] == [True, False, False]
    one_level = [one for one in read.levels if one.level_db_spl == 76.0]
    with pytest.raises(AnalysisError, match="at least two levels"):
        sweep_ladder(replace(read, levels=tuple(one_level)))


def test_repeats_played_before_the_reference_are_none(folder, desk):
    """The reference was rejected and recorded anew after them."""
    late = [
        replace(one, sidecar=replace(one.sidecar, date=minutes(6)))
        if not one.sidecar.after and one.sidecar.level_db_spl == 76.0
        else one
        for one in desk
    ]
    found = sweep_ladder(read_all(folder, late))
    assert [one.time_s - recorded_at_s(desk[0]) for one in found.repeats] == [8 * 60.0]
    assert [one.rested for one in sweep_ladder(read_all(folder, desk)).repeats] == [False, True]


def test_the_ladder_of_multitones(desk):
    """At the lines: the loss of the highest level, and the deviation of the line's own interval."""
    multitones = takes_of_each_level(desk, "multitone")
    levels = {level: read_multitone_takes(takes, SETTINGS) for level, takes in multitones.items()}
    found = multitone_ladder(levels)
    np.testing.assert_allclose(found.levels[2].change_db, -1.0, atol=0.01)
    np.testing.assert_allclose(found.levels[1].change_db, 0.0, atol=0.01)
    np.testing.assert_allclose(found.levels[0].output_db, OUTPUT_DB[76.0], atol=0.01)
    both = np.hypot(*(levels[level].result.response.uncertainty_db for level in (76.0, 86.0)))
    np.testing.assert_allclose(found.levels[1].uncertainty_db, both, rtol=1e-6)
    assert levels[76.0].warm_up == ()
    assert levels[76.0].attack == ()
    with pytest.raises(AnalysisError, match="is a sweep, not a multitone"):
        read_multitone_takes([desk[0]], SETTINGS)


_settling_takes = itertools.count(20)


def settling(folder: SessionFolder, change_db: Callable[[np.ndarray], np.ndarray]) -> Recording:
    """A multitone whose level follows `change_db` of the seconds since it began."""
    stimulus = stimulus_of("multitone", -30.0)
    reel = framed(stimulus)
    start = 400 + reel.only_stimulus()[0]
    played = np.pad(reel.samples(), (400, 800))
    heard_db = change_db(np.maximum((np.arange(played.size) - start) / RATE, 0.0))
    samples = GAIN * played * 10.0 ** (heard_db / 20.0) + 1e-7 * np.random.default_rng(1).standard_normal(played.size)
    sidecar = replace(
        SIDECAR,
        condition="stand",
        stimulus_name="multitone",
        level_db_spl=86.0,
        take=next(_settling_takes),
        stimulus=stimulus,
        reel=reel,
        drive_dbfs=-30.0,
        stimulus_start_sample=float(start),
        sample_rate=RATE,
        clock_difference_ppm=0.0,
        turned_db=0.0,
    )
    return save_recording(folder, samples, sidecar)


@pytest.mark.parametrize(("depth_db", "told"), [(-0.09, False), (-0.13, True)])
def test_a_warm_up_is_told_from_a_tenth_of_a_decibel_on(folder, depth_db, told):
    """Level falling with a time constant of 2 s over 6.5 s of periods."""
    whole_db = depth_db / (1.0 - np.exp(-3.25))
    take = settling(folder, lambda time_s: whole_db * (1.0 - np.exp(-time_s / 2.0)))
    level = read_multitone_takes([take], SETTINGS)
    assert bool(level.warm_up) == told
    assert all(isinstance(one, Settling) for one in level.warm_up)
    assert read_multitone_takes([take], SETTINGS, against_time=False).warm_up == ()


@pytest.mark.parametrize(("whole_db", "told"), [(-4.0, True), (-0.6, False), (4.0, False)])
def test_an_attack_is_a_fall_of_a_decibel_within_the_first_period(folder, whole_db, told):
    """With a time constant of 0.1 s, so that what is left after the fade-in is most of it; a rise is none."""
    take = settling(folder, lambda time_s: whole_db * (1.0 - np.exp(-time_s / 0.1)))
    assert bool(read_multitone_takes([take], SETTINGS).attack) == told


# --- which belong together --------------------------------------------------------------------------------------------


def recording(**changes) -> Recording:
    sidecar = replace(SIDECAR, **changes)
    return Recording(files=SessionFolder(Path("session")).recording(sidecar.condition, sidecar.name), sidecar=sidecar)


# --- two sides --------------------------------------------------------------------------------------------------------


GAINS = {"gain": kinds.GAIN, "gain-multitone": kinds.GAIN_OF_MULTITONE}
"""No file of a comparison holds these."""


def curve(quantity: str, level: float, value_db: float, *, octaves: float = BROAD_OCTAVES) -> Curve:
    rows = np.array([100.0, 1000.0])
    return Curve(
        quantity=GAINS.get(quantity) or from_comparison(quantity),
        level_db_spl=level,
        octaves=octaves,
        frequency_hz=rows,
        value_db=np.full(2, value_db),
        noise_variance=np.full(2, 1e-4),
        noise_freedom=np.full(2, 100.0),
        replicates_db=None,
        clear=np.ones(2, dtype=bool),
    )


def side(
    folder: SessionFolder, condition: str = "desk", *, drives=None, outputs=None, curves=None, sidecars=None, tones=()
) -> Side:
    drives = {86.0: -30.0, 96.0: -20.0} if drives is None else drives
    if curves is None:
        curves = [
            curve(name, level, -40.0)
            for level in drives
            for name in ("response", "h2", "even", "response-multitone", "gain", "gain-multitone")
        ]
    sweeps = tuple(recording(**one) for one in (sidecars or [{"turned_db": 0.0}]))
    return Side(
        name=condition,
        folder=folder,
        condition=condition,
        plan=read_plan(folder.root),
        microphone=None,
        sweeps=sweeps,
        multitones=tuple(tones),
        curves=tuple(curves),
        drives_dbfs=drives,
        outputs_db={level: 56.0 + level for level in drives} if outputs is None else outputs,
        repeats=(),
        set_ups=1,
        takes=1,
    )


def quantities(found) -> dict[tuple[str, float], float]:
    return {(one.quantity.in_comparison, one.level_db_spl): float(one.difference_db[0]) for one in found.differences}


def tone(**changes) -> Recording:
    stimulus = replace(stimulus_of("multitone", -30.0), **changes)
    return recording(
        stimulus_name="multitone", stimulus=stimulus, reel=framed(stimulus), drive_dbfs=stimulus.drive_dbfs
    )


def told(a: Side, b: Side) -> dict[str, tuple[str, str, str]]:
    return {one.what: (one.a, one.b, meaning_words(one)) for one in unlike(a, b)}


# --- what is handed on to the search ----------------------------------------------------------------------------------


def response(level_db) -> Response:
    return Response(
        frequency_hz=HZ,
        level_db=level_db,
        phase_deg=np.zeros(HZ.size),
        noise_db=np.full(HZ.size, -20.0),
        unit="db_spl",
        delay_s=0.0,
        lowest_valid_hz=130.0,
    )
