"""Recordings of a condition put together: which belong to one level, how they are driven, and what two conditions have
in common; on small recordings at a low sample rate whose gains are known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.comparison.curves import ROWS_OF_BAND
from distort.analysis.comparison.judging import BROAD_OCTAVES, NARROW_OCTAVES, Curve
from distort.analysis.curves import Harmonics, Order, Response
from distort.analysis.grid import grid_hz
from distort.analysis.multitone.time import Settling
from distort.analysis.sweep.sweeps import Settings
from distort.capture.measuring.steps import REST_BEFORE_DRIFT_S
from distort.capture.recorded.comparable import Side, read_side
from distort.capture.recorded.comparing import compare_sides, default_basis
from distort.capture.recorded.ladder import multitone_ladder, stated, sweep_ladder, sweep_repeats
from distort.capture.recorded.looking import look_at
from distort.capture.recorded.takes import (
    read_multitone_takes,
    read_sweep_takes,
    recorded_at_s,
    reference_for,
    repeats_of,
    require_alike,
    require_one_unit,
    set_ups_of_each_level,
    takes_of_each_level,
)
from distort.capture.recorded.unlike import same_multitones, unlike
from distort.errors import AnalysisError
from distort.session.calibration.curves_elsewhere import CurvesElsewhere
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import CalibrationInForce
from distort.session.recordings.stored import Recording, save_recording
from distort.session.results.ladder_results import ChangeCurves
from distort.session.results.multitone_results import BandTable
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


def test_the_ladder_of_a_condition(desk):
    """Change: what the highest level lost; the lowest is a mean of two takes, 0.05 dB up. Bias: half of the loss is
    missing in the short sweep. The reference is repeated hot (0.3 dB less) and rested (0.2 dB more); a third repeat, of
    which nobody knows the rest, is neither."""
    sweeps = takes_of_each_level(desk, "sweep")
    assert {level: len(takes) for level, takes in sweeps.items()} == {76.0: 2, 86.0: 1, 96.0: 1}
    reads = {level: read_sweep_takes(takes, SETTINGS) for level, takes in sweeps.items()}
    shorts = {
        one.sidecar.level_db_spl: read_sweep_takes([one], SETTINGS)
        for one in desk
        if one.sidecar.stimulus_name == "sweep-short"
    }
    found = sweep_ladder(desk, sweeps, reads, shorts=shorts, settings=SETTINGS)
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


def test_a_volume_that_was_turned_counts_as_drive(desk):
    turned = [
        replace(one, sidecar=replace(one.sidecar, turned_db=6.0 if one.sidecar.level_db_spl == 86.0 else 0.0))
        for one in desk
    ]
    sweeps = takes_of_each_level(turned, "sweep")
    reads = {level: read_sweep_takes(takes, SETTINGS) for level, takes in sweeps.items()}
    found = sweep_ladder(turned, sweeps, reads, shorts={}, settings=SETTINGS)
    assert [level.drive_dbfs for level in found.levels] == [-40.0, -24.0, -20.0]
    assert float(np.mean(found.levels[1].change_db[READABLE])) == pytest.approx(-6.0, abs=0.1)
    unsaid = [replace(one, sidecar=replace(one.sidecar, turned_db=None)) for one in desk]
    with pytest.raises(AnalysisError, match="nobody said by how much the volume was turned"):
        sweep_ladder(unsaid, takes_of_each_level(unsaid, "sweep"), reads, shorts={}, settings=SETTINGS)
    one_level = {76.0: sweeps[76.0]}
    with pytest.raises(AnalysisError, match="at least two levels"):
        sweep_ladder(desk, one_level, reads, shorts={}, settings=SETTINGS)


def test_repeats_played_before_the_reference_are_none(desk):
    """The reference was rejected and recorded anew after them."""
    late = [
        replace(one, sidecar=replace(one.sidecar, date=minutes(6)))
        if not one.sidecar.after and one.sidecar.level_db_spl == 76.0
        else one
        for one in desk
    ]
    sweeps = takes_of_each_level(late, "sweep")
    reads = {level: read_sweep_takes(takes, SETTINGS) for level, takes in sweeps.items()}
    found = sweep_ladder(late, sweeps, reads, shorts={}, settings=SETTINGS)
    assert [one.time_s - recorded_at_s(desk[0]) for one in found.repeats] == [8 * 60.0]
    assert [one.rested for one in sweep_repeats(repeats_of(desk, "sweep", 76.0), SETTINGS)] == [False, True]


def test_the_ladder_of_multitones(desk):
    """At the lines: the loss of the highest level, and the deviation of the line's own interval."""
    multitones = takes_of_each_level(desk, "multitone")
    levels = {level: read_multitone_takes(takes) for level, takes in multitones.items()}
    found = multitone_ladder(multitones, {level: one.result for level, one in levels.items()})
    np.testing.assert_allclose(found.levels[2].change_db, -1.0, atol=0.01)
    np.testing.assert_allclose(found.levels[1].change_db, 0.0, atol=0.01)
    np.testing.assert_allclose(found.levels[0].output_db, OUTPUT_DB[76.0], atol=0.01)
    both = np.hypot(*(levels[level].result.response.uncertainty_db for level in (76.0, 86.0)))
    np.testing.assert_allclose(found.levels[1].uncertainty_db, both, rtol=1e-6)
    assert levels[76.0].warm_up == ()
    assert levels[76.0].attack == ()
    with pytest.raises(AnalysisError, match="is a sweep, not a multitone"):
        read_multitone_takes([desk[0]])


@pytest.mark.parametrize(("depth_db", "told"), [(-0.09, False), (-0.13, True)])
def test_a_warm_up_is_told_from_a_tenth_of_a_decibel_on(folder, depth_db, told):
    """Level falling with a time constant of 2 s over 6.5 s of periods, of which the middles hear 0.84 of it."""
    stimulus = stimulus_of("multitone", -30.0)
    reel = framed(stimulus)
    start = 400 + reel.only_stimulus()[0]
    played = np.pad(reel.samples(), (400, 800))
    time_s = (np.arange(played.size) - start) / RATE
    heard_db = depth_db / (np.exp(-0.125) - np.exp(-3.125)) * (1.0 - np.exp(-np.maximum(time_s, 0.0) / 2.0))
    samples = GAIN * played * 10.0 ** (heard_db / 20.0) + 1e-7 * np.random.default_rng(1).standard_normal(played.size)
    sidecar = replace(
        SIDECAR,
        condition="stand",
        stimulus_name="multitone",
        level_db_spl=86.0,
        take=20 + told,
        stimulus=stimulus,
        reel=reel,
        drive_dbfs=-30.0,
        stimulus_start_sample=float(start),
        sample_rate=RATE,
        clock_difference_ppm=0.0,
        turned_db=0.0,
    )
    level = read_multitone_takes([save_recording(folder, samples, sidecar)])
    assert bool(level.warm_up) == told
    assert all(isinstance(one, Settling) for one in level.warm_up)
    assert (
        read_multitone_takes(
            [save_recording(folder, samples, replace(sidecar, take=30 + told))], against_time=False
        ).warm_up
        == ()
    )


# --- which belong together --------------------------------------------------------------------------------------------


def recording(**changes) -> Recording:
    sidecar = replace(SIDECAR, **changes)
    return Recording(files=SessionFolder(Path("session")).recording(sidecar.condition, sidecar.name), sidecar=sidecar)


def test_a_set_up_made_anew_begins_the_next():
    first, second, anew, after = (
        recording(take=take, repositioned=anew, after=after)
        for take, anew, after in ((1, False, False), (2, False, False), (3, True, False), (1, False, True))
    )
    other = recording(level_db_spl=76.0, repositioned=True)
    found = set_ups_of_each_level([first, second, anew, after, other], "sweep")
    assert list(found) == [76.0, 86.0]
    assert found[86.0] == [[first, second], [anew]]
    assert takes_of_each_level([first, second, anew, other], "sweep") == {76.0: [other], 86.0: [first, second]}
    assert repeats_of([after, first], "sweep", 86.0) == [after]
    assert repeats_of([after, first], "sweep", 76.0) == []
    assert repeats_of([after, first], "multitone", 86.0) == []


def test_some_calibrated_and_some_not_is_refused():
    known, unknown = recording(), recording(take=2, calibration=None)
    require_one_unit([known, known])
    require_one_unit([unknown])
    require_one_unit([])
    with pytest.raises(AnalysisError, match="was saved without a calibration"):
        require_one_unit([known, unknown])


def test_takes_of_which_nobody_said_how_they_were_turned_go_with_any():
    require_alike([recording(turned_db=None), recording(turned_db=3.0)])
    require_alike([recording(turned_db=3.0), recording(turned_db=3.0)])
    for other in (
        {"turned_db": 1.0},
        {"stimulus": replace(SIDECAR.stimulus, seconds=2.0), "reel": framed(replace(SIDECAR.stimulus, seconds=2.0))},
    ):
        with pytest.raises(AnalysisError, match="not takes of the same"):
            require_alike([recording(turned_db=3.0), recording(**({"turned_db": 3.0} | other))])


# --- two sides --------------------------------------------------------------------------------------------------------


def curve(quantity: str, level: float, value_db: float, *, octaves: float = BROAD_OCTAVES) -> Curve:
    rows = np.array([100.0, 1000.0])
    return Curve(
        quantity=quantity,
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
            curve(name, level, -40.0) for level in drives for name in ("response", "h2", "even", "response-multitone")
        ]
        curves += [curve(name, max(drives), -1.0) for name in ("change", "change-multitone")]
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
    return {(one.quantity, one.level_db_spl): float(one.difference_db[0]) for one in found.differences}


def test_rungs_of_equal_drive_are_put_side_by_side(folder):
    """Drives 0.04 dB apart are one rung, 0.06 dB are not; B's levels come under A's names; what compression is made
    from is not compared itself."""
    a = side(folder)
    b = side(folder, "stand", drives={87.0: -30.04, 97.0: -20.06})
    found = compare_sides(a, b, basis="drive")
    assert set(quantities(found)) == {("response", 86.0), ("h2", 86.0), ("even", 86.0)}
    assert found.levels == ("No partner of equal drive, not compared: 96 dB of desk, 97 dB of stand.",)
    whole = compare_sides(a, side(folder, "stand"), basis="drive")
    assert whole.levels == ()
    assert ("change", 96.0) in quantities(whole)
    assert ("change-multitone", 96.0) in quantities(whole)
    assert whole.basis == "drive"
    assert whole.calibration_db is None
    assert "has no results yet" in whole.no_faults
    assert (whole.anomalies, whole.coincidences) == ((), ())
    with pytest.raises(AnalysisError, match="no level of desk was played with the drive"):
        compare_sides(a, side(folder, "stand", drives={86.0: -29.9}), basis="drive")


def test_compression_re_other_lowest_levels_is_not_compared(folder):
    a = side(folder)
    curves = [curve(name, 96.0, -40.0) for name in ("response", "change", "change-multitone")]
    found = compare_sides(a, side(folder, "stand", drives={76.0: -40.0, 96.0: -20.0}, curves=curves), basis="drive")
    assert set(quantities(found)) == {("response", 96.0)}
    assert any("The lowest levels differ in drive" in one for one in found.levels)


def test_rungs_of_equal_output_are_read_between_those_of_the_other_side(folder):
    """B is 2 dB louder at every rung: at A's output of 142 dB it is 2 dB below its own first, and out of reach; at 152
    dB it lies 8 of 10 dB up between its rungs."""
    a = side(folder)
    curves = [curve("response", 86.0, 10.0), curve("response", 96.0, 20.0)]
    b = side(folder, "stand", outputs={86.0: 144.0, 96.0: 154.0}, curves=curves)
    found = compare_sides(a, b, basis="output")
    assert quantities(found) == {("response", 96.0): pytest.approx(18.0 + 40.0)}
    assert "nothing is extrapolated" in found.levels[0]
    assert "interpolated between 86 and 96 dB" in found.levels[1]
    for near_db, value_db in ((152.09, 20.0), (152.11, 10.0 + 10.0 * (152.0 - 144.0) / (152.11 - 144.0))):
        b = side(folder, "stand", outputs={86.0: 144.0, 96.0: near_db}, curves=curves)
        found = compare_sides(a, b, basis="output")
        assert quantities(found)[("response", 96.0)] == pytest.approx(value_db + 40.0)
    with pytest.raises(AnalysisError, match="do not overlap"):
        compare_sides(a, side(folder, "stand", outputs={86.0: 200.0, 96.0: 210.0}), basis="output")
    bare = side(folder, "stand", sidecars=[{"turned_db": 0.0, "calibration": None}])
    with pytest.raises(AnalysisError, match="needs a calibration on both sides"):
        compare_sides(a, bare, basis="output")
    without = compare_sides(a, bare, basis="drive")
    assert ("response", 86.0) not in quantities(without)
    assert ("h2", 86.0) in quantities(without)


def test_one_loudspeaker_is_compared_at_equal_drive_and_two_at_equal_output(folder):
    other = replace(SIDECAR.loudspeaker, unit="right")
    a, b = side(folder), side(folder, "stand", sidecars=[{"turned_db": 0.0, "loudspeaker": other}])
    assert default_basis(a, a) == "drive"
    assert default_basis(a, b) == "output"
    assert compare_sides(a, b).basis == "output"


def tone(**changes) -> Recording:
    stimulus = replace(stimulus_of("multitone", -30.0), **changes)
    return recording(
        stimulus_name="multitone", stimulus=stimulus, reel=framed(stimulus), drive_dbfs=stimulus.drive_dbfs
    )


def test_multitones_of_other_phases_are_not_compared(folder):
    """The drive alone may differ: it goes with the level."""
    one, louder, other = tone(), tone(drive_dbfs=-20.0), tone(seed=7)
    assert same_multitones(side(folder, tones=[one]), side(folder, tones=[louder]))
    assert same_multitones(side(folder, tones=[one]), side(folder))
    assert not same_multitones(side(folder, tones=[one]), side(folder, tones=[other]))
    found = compare_sides(side(folder, tones=[one]), side(folder, "stand", tones=[other]), basis="drive")
    assert not {name for name, _ in quantities(found)} & {"even", "odd", "change-multitone"}
    assert ("h2", 86.0) in quantities(found)


def told(a: Side, b: Side) -> dict[str, tuple[str, str, str]]:
    return {one.what: (one.a, one.b, one.meaning) for one in unlike(a, b)}


def test_what_two_sides_do_not_have_in_common(folder):
    """Half a kelvin is the same temperature; 10 K of 293 change the speed of sound by 10 / (2 x 293.15) = 1.7 %; a day
    is no long time."""
    assert told(side(folder), side(folder)) == {}
    warm = replace(SIDECAR.setup, temperature_c=SIDECAR.setup.temperature_c + 10.0, distance_m=1.5)
    other = side(
        folder,
        sidecars=[
            {
                "turned_db": None,
                "setup": warm,
                "loudspeaker": replace(SIDECAR.loudspeaker, firmware="2.1"),
                "device": "card",
                "simulated": False,
                "date": "2024-05-02T12:31:00+00:00",
                "calibration": replace(SIDECAR.calibration, calibrator_dbfs=-27.0),
            }
        ],
    )
    found = told(side(folder), other)
    assert found["temperature"][:2] == ("20 degC", "30 degC")
    assert found["temperature"][2].startswith("sound is 1.7 % faster in B")
    assert told(other, side(folder))["temperature"][2].startswith("sound is 1.6 % slower in B")
    assert found["distance"][:2] == ("1 m", "1.5 m")
    assert found["firmware"][:2] == ("not said", "2.1")
    assert found["player and recorder"][:2] == ("simulated loudspeaker", "card")
    assert found["origin"][:2] == ("simulated", "measured")
    assert found["date"][:2] == ("2024-05-01", "2024-05-02")
    assert found["calibration"][:2] == ("-26.31 dBFS in the calibrator", "-27.00 dBFS in the calibrator")
    assert found["volume control"][:2] == ("", "not said")
    assert told(other, side(folder))["volume control"][:2] == ("not said", "")
    for apart_k, is_told in ((0.4, False), (0.5, True)):
        setup = replace(SIDECAR.setup, temperature_c=SIDECAR.setup.temperature_c + apart_k)
        assert (
            "temperature" in told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "setup": setup}]))
        ) == is_told
    for date, is_told in (("2024-05-02T12:29:00+00:00", False), ("2024-05-02T12:31:00+00:00", True)):
        assert ("date" in told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "date": date}]))) == is_told
    slower = replace(SIDECAR.stimulus, seconds=2.0)
    found = told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "stimulus": slower, "reel": framed(slower)}]))
    assert found["sweep, seconds"][:2] == ("1", "2")
    assert told(side(folder, tones=[tone()]), side(folder))["multitone"][:2] == ("played", "none")
    gated = replace(
        side(folder),
        plan=replace(read_plan(folder.root), analysis=replace(read_plan(folder.root).analysis, gate_ms=5.0, orders=4)),
    )
    found = told(side(folder), gated)
    assert found["time gate"][:2] == ("none", "5 ms")
    assert found["orders separated"][:2] == ("3", "4")


def test_a_side_read_from_its_recordings(folder, desk):
    """Every level's response at its own output, compression less the drive, drives as played."""
    found = read_side(folder, "desk", name="A", progress=lambda what, done, total: None)
    assert found.drives_dbfs == {76.0: -40.0, 86.0: -30.0, 96.0: -20.0}
    assert (found.set_ups, found.takes) == (1, 2)
    assert found.volume_known
    by_key = {(one.quantity, one.level_db_spl, one.octaves): one for one in found.curves}
    for octaves, step in ROWS_OF_BAND.items():
        rows = READABLE[::step]
        response = by_key["response", 86.0, octaves]
        np.testing.assert_allclose(response.value_db[rows], OUTPUT_DB[86.0], atol=0.02)
        change = by_key["change", 96.0, octaves]
        np.testing.assert_allclose(change.value_db[rows], -1.0 - 0.05, atol=0.02)
        assert by_key["response", 76.0, octaves].replicates_db.shape[0] == 2
        assert by_key["response", 86.0, octaves].replicates_db is None
    assert by_key["even", 96.0, BROAD_OCTAVES].frequency_hz.size > 5
    np.testing.assert_allclose(by_key["change-multitone", 96.0, BROAD_OCTAVES].value_db, -1.0, atol=0.02)
    # the power mean over the plan's band, as far as the sweep goes
    assert found.outputs_db[86.0] == pytest.approx(OUTPUT_DB[86.0], abs=0.1)
    # repeats: after a rest alone, each width of band
    assert {one.octaves for one, _ in found.repeats} == {BROAD_OCTAVES, NARROW_OCTAVES}
    first, again = next(
        pair for pair in found.repeats if pair[0].octaves == NARROW_OCTAVES and pair[0].quantity == "response"
    )
    np.testing.assert_allclose((again.value_db - first.value_db)[READABLE], 0.2, atol=0.02)
    assert len(found.recordings) == 4 + 3


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


def test_curves_are_handed_on_with_their_floors(desk):
    """The floor of an order is its noise, or its leak and the 15 dB by which a leak must lie deeper; rushed rows and
    those under the lowest are empty; that of THD is the sum of all orders' noise."""
    read = read_sweep_takes([desk[0]], SETTINGS)
    level_db = np.where(READABLE, 80.0, np.nan)
    nothing = np.full(HZ.size, np.nan)

    def order(number: int, noise_db: float, leak_db: float, *, doubtful) -> Order:
        return Order(
            order=number,
            relative_db=np.full(HZ.size, -30.0),
            noise_db=np.full(HZ.size, noise_db),
            leak_db=np.full(HZ.size, leak_db),
            chain_db=nothing,
            bias_db=nothing,
            uncertainty_db=np.full(HZ.size, 0.1),
            level_db=nothing,
            equivalent_input_db=nothing,
            doubtful=doubtful,
        )

    rushed = (HZ > 900.0) & (HZ < 1100.0)
    harmonics = Harmonics(
        frequency_hz=HZ,
        fundamental_db=level_db,
        unit="db_spl",
        thd_db=np.full(HZ.size, -27.0),
        thd_percent=nothing,
        thd_total_percent=nothing,
        thd_orders=np.full(HZ.size, 2),
        residual_db=nothing,
        orders=(order(2, -70.0, -90.0, doubtful=rushed), order(3, -70.0, -60.0, doubtful=rushed)),
    )
    bands_hz = np.array([500.0, 1000.0])
    three = {name: np.full(2, -50.0) for name in BandTable.__dataclass_fields__}
    bands = BandTable(**(three | {"frequency_hz": bands_hz, "unit": "db_spl", "even_floor_db": np.full(2, -80.0)}))
    changes = ChangeCurves(
        source="sweep",
        frequency_hz=HZ,
        level_db_spl=(76.0, 86.0, 96.0),
        change_db=np.arange(3.0)[:, None] * np.ones(HZ.size),
        corrected_db=np.zeros((3, HZ.size)),
        uncertainty_db=0.1 * np.arange(3.0)[:, None] * np.ones(HZ.size),
        bias_db=np.zeros((3, HZ.size)),
        drift_db=nothing,
    )
    given = {
        "levels": [76.0],
        "responses": [response(level_db)],
        "harmonics": [harmonics],
        "multitones": {76.0: bands},
        "changes": [changes],
    }
    room = replace(SIDECAR.setup, radiation="room")
    found = look_at(read.separated, **given, elsewhere=CurvesElsewhere(curves=(), used=()), setup=room)
    assert [one.quantity for one in found.distortion] == ["h2", "h3", "thd", "multitone_even", "multitone_odd"]
    second, third, total, even, _ = found.distortion
    np.testing.assert_allclose(second.floor_db, -70.0)  # the leak counts as -75
    np.testing.assert_allclose(third.floor_db, -45.0)
    np.testing.assert_array_equal(np.isnan(second.relative_db), (HZ < 130.0) | rushed)
    np.testing.assert_allclose(total.noise_db, -70.0 + 3.0103, atol=1e-4)
    np.testing.assert_array_equal(np.isnan(total.relative_db), HZ < 130.0)
    np.testing.assert_array_equal(even.floor_db, [-80.0, -80.0])
    assert [one.level for one in found.changes] == [86.0, 96.0]
    assert (found.changes[1].change_db[0], found.changes[1].uncertainty_db[0]) == (2.0, pytest.approx(0.2))
    assert found.in_room
    free = replace(SIDECAR.setup, radiation="free")
    assert not look_at(read.separated, **given, elsewhere=CurvesElsewhere(curves=(), used=()), setup=free).in_room
