"""Near-field conditions: their own distance, the drives of the main condition, the microphone's limit."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

from distort.__main__ import main
from distort.capture.measuring.expected import highest_peak
from distort.capture.measuring.playing import Measured, measure
from distort.capture.measuring.starting import Choice, get_ready
from distort.errors import PlanError, RecordingError, TooLoudError, UsageError
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import NEAR_FIELD, Plan
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text, text_of
from distort.session.recordings.stimulus_files import planned
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import Findings
from distort.session.results.kept_setup import kept_setup
from tests.clumsy_session import RATE, CommandLine, heard, shorten
from tests.devices.scaled import ScaledLoudspeaker
from tests.test_before_it_is_loud import calibrate

SAID = """
[conditions.cone]
radiation = "near-field"
distance_m = 0.01
radius_m = 0.05
"""
NEARER_DB = 26.0
"""What is heard more at the cone: 20 lg(2 r / a) of a piston in a wall (Keele 1974), a = 0.1 m, r = 1 m."""
FULL_SCALE_DB_SPL = 140.0
"""At the input; the scaled loudspeaker is a wire, so it also is what 0 dBFS gives at 1 m, less `QUIETER_DB`."""
QUIETER_DB = -20.0


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A session with a near field, calibrated; nothing is recorded."""
    folder = SessionFolder(tmp_path_factory.mktemp("near") / "monitor")
    assert main(["new", str(folder.root), "--levels", "70,88", "--conditions", "stand,cone"]) == 0
    shorten(folder.root, rest_s="3.0", period_s="0.25", lines_per_decade="2", orders="3", seconds="1.6")
    with folder.plan_path.open("a") as plan:
        plan.write(SAID)
    calibrate(folder, FULL_SCALE_DB_SPL)
    return folder.root


def plan_of(folder: SessionFolder, *, max_db_spl: float | None = 130.0) -> Plan:
    plan = read_plan(folder.root)
    return replace(plan, microphone=replace(plan.microphone, max_db_spl=max_db_spl))


def run(
    folder: SessionFolder, condition: str, plan: Plan, *, level: int = 70, more_db: float = 0.0, **choice
) -> Measured:
    nearer_db = NEARER_DB if condition == "cone" else 0.0
    device = ScaledLoudspeaker(gain_db=QUIETER_DB + nearer_db + more_db)
    chosen = Choice(condition=condition, only=f"sweep_{level}dB", **choice)
    return measure(folder, plan, device, chosen, progress=lambda what, done, total: None)


@pytest.fixture(scope="module")
def stood(made, tmp_path_factory) -> Path:
    """The same with the drives that the stand gave."""
    folder = SessionFolder(Path(shutil.copytree(made, tmp_path_factory.mktemp("stood") / "monitor")))
    run(folder, "stand", plan_of(folder))
    return folder.root


@pytest.fixture
def folder(stood, tmp_path) -> SessionFolder:
    return SessionFolder(Path(shutil.copytree(stood, tmp_path / "monitor")))


def test_a_condition_has_a_radiation_and_a_distance_of_its_own() -> None:
    text = plan_text(name="Monitor A", levels_db_spl=(76,), conditions=("chain", "stand", "cone")) + SAID
    plan = plan_from_text(text.replace("# chain_condition", "chain_condition"), source="a plan")
    cone = plan.of("cone")
    assert (cone.setup.radiation, cone.setup.distance_m, cone.near_field_of) == (NEAR_FIELD, 0.01, "stand")
    assert (plan.of("stand").setup, plan.of("stand").near_field_of) == (plan.setup, None)
    assert cone.of("cone") is cone
    with pytest.raises(ValueError, match="the plan of cone is not that of stand"):
        cone.of("stand")
    assert plan_from_text(text_of(plan), source="again") == plan


def test_a_session_of_the_near_field_alone_has_drives_of_its_own() -> None:
    text = plan_text(name="Monitor A", levels_db_spl=(76,)).replace('"room"', '"near-field"', 1)
    plan = plan_from_text(text, source="a plan")
    assert (plan.setup.radiation, plan.of("default").near_field_of) == (NEAR_FIELD, None)


def test_what_a_new_plan_shows_of_a_condition_holds_without_its_marks() -> None:
    text = plan_text(name="Monitor A", levels_db_spl=(76,), conditions=("stand", "cone"))
    _, block = text.split("# What is said of one condition.")
    lines = block.splitlines()[1:]
    bare = text + "\n".join(line.removeprefix("# ") for line in lines)
    assert plan_from_text(bare, source="a plan").of("cone").setup.distance_m == 0.01


def test_it_is_played_with_the_drives_of_the_main_condition(folder) -> None:
    plan = plan_of(folder)
    before = folder.calibration_path("drive.json").read_bytes()
    calibrate(folder, FULL_SCALE_DB_SPL + 6.0)  # the gain is turned down for what is loud there
    run(folder, "cone", plan, more_db=-6.0)
    assert folder.calibration_path("drive.json").read_bytes() == before
    stand, cone = (load_recordings(folder, name)[0].sidecar for name in ("stand", "cone"))
    assert stand.drive_dbfs == cone.drive_dbfs
    assert (stand.setup.distance_m, cone.setup.distance_m) == (1.0, 0.01)
    assert (stand.setup.radiation, cone.setup.radiation) == ("room", NEAR_FIELD)


@pytest.mark.sample
def test_the_microphone_is_its_limit_and_the_ceiling_that_of_the_main_condition(folder) -> None:
    plan = plan_of(folder)
    with pytest.raises(PlanError, match=r"where the microphone is the first to give up: say what it stands with"):
        run(folder, "cone", plan_of(folder, max_db_spl=None))
    # 88 dB SPL at 1 m, 114 at the cone; what is played quietly has peaks of a tone of 110 there
    with pytest.raises(PlanError, match=r"a tone of 11[34]\.\d dB SPL at the microphone, 0.01 m away, above .* = 113"):
        run(folder, "cone", plan_of(folder, max_db_spl=113.0), level=88)
    with pytest.raises(TooLoudError):  # even quietly
        run(folder, "cone", plan_of(folder, max_db_spl=105.0))
    # at a distance it gives 120 dB SPL for 0 dBFS, so 70 dB SPL for this drive; at the microphone it is 26 dB more
    low = replace(plan, safety=replace(plan.safety, ceiling_db_spl=69.0))
    with pytest.raises(PlanError, match=r"would give 70\.\d dB SPL where it is loudest, above \[safety\] ceiling"):
        run(folder, "cone", low)
    run(folder, "cone", plan)


@pytest.mark.sample
def test_while_it_sounds_nothing_passes_what_the_microphone_stands(folder) -> None:
    plan = plan_of(folder)
    device = ScaledLoudspeaker(gain_db=QUIETER_DB + NEARER_DB)
    ready = get_ready(folder, plan, device, Choice(condition="cone"))
    assert ready.quiet is not None
    (item,) = [one for one in planned(plan, ready.drives) if one.stem == "sweep_88dB"]
    limited = plan_of(folder, max_db_spl=115.0).of("cone")
    at_most = 10.0 ** ((115.0 - FULL_SCALE_DB_SPL) / 20.0)
    # the noise, 1e-6 of full scale, comes on top
    assert highest_peak(ready.quiet, limited, item) == pytest.approx(at_most, abs=1e-5)
    # 6 dB over the 114 that are expected there
    assert highest_peak(ready.quiet, plan.of("cone"), item) > 10.0 ** ((119.9 - FULL_SCALE_DB_SPL) / 20.0)


@pytest.mark.sample
def test_a_volume_that_was_turned_since_is_noticed_where_there_is_a_recording(folder) -> None:
    plan = plan_of(folder)
    run(folder, "cone", plan)
    with pytest.raises(TooLoudError, match=r"driven alike, cone is 4\.\d dB louder about"):
        run(folder, "cone", plan, more_db=4.0, again=True)
    with pytest.raises(UsageError, match="with the drives of stand: say --relevel there"):
        run(folder, "cone", plan, relevel=True)


@pytest.mark.sample
def test_what_clips_the_input_keeps_the_drives(folder) -> None:
    plan = plan_of(folder)
    full_scale_db_spl = 114.5  # 88 dB SPL at 1 m come within 1 dB of it
    calibrate(folder, full_scale_db_spl)
    with pytest.raises(RecordingError, match=r"Lower its gain by \d+ dB, calibrate again, and measure this again: the"):
        run(folder, "cone", plan, level=88, more_db=FULL_SCALE_DB_SPL - full_scale_db_spl)


def test_without_drives_there_is_nothing_to_play(made) -> None:
    folder = SessionFolder(made)
    with pytest.raises(UsageError, match="are not found yet: measure stand first"):
        run(folder, "cone", plan_of(folder))


def test_the_simulated_loudspeaker_has_no_near_field(made, capsys) -> None:
    distort = CommandLine(capsys)
    said = distort.refused("measure", made, "--simulate", "--condition", "cone", inside=made, status=2)
    assert said.startswith("cone is in the near field, and the simulated loudspeaker is heard at a distance alone")


@pytest.mark.sample
def test_what_a_recorder_heard_has_the_distance_of_its_condition(folder, capsys) -> None:
    distort = CommandLine(capsys)
    distort.done("stimuli", folder.root)
    take = folder.root.parent / "take.wav"
    soundfile.write(take, heard(folder.root / "stimuli/sweep_70dB.wav"), RATE, subtype="FLOAT")
    words = ("--stimulus", "sweep", "--level", 70, "--playback-change-db", 0)
    # far from 70 dB SPL at 1 m by its level, which says nothing in the near field
    assert "Careful" not in distort.done("add", folder.root, take, "--condition", "cone", *words)
    (cone,) = load_recordings(folder, "cone")
    assert (cone.sidecar.setup.distance_m, cone.sidecar.setup.radiation) == (0.01, NEAR_FIELD)
    assert "level_spl" not in distort.done("show", folder.root, "quality")
    distort.done("relabel", folder.root, "cone/sweep_70dB", "--condition", "stand", "--reason", "it stood there")
    *_, stand = load_recordings(folder, "stand")
    assert (stand.sidecar.setup.distance_m, stand.sidecar.setup.radiation) == (1.0, "room")


def test_a_distance_that_was_corrected_later_is_told_for_its_condition_alone() -> None:
    plan = plan_from_text(
        plan_text(name="Monitor A", levels_db_spl=(76,), conditions=("stand", "cone")) + SAID, source="a plan"
    )
    nothing = Findings(
        loudspeaker=plan.loudspeaker,
        setup=plan.setup,
        condition="stand",
        simulated=False,
        software="",
        smoothing="1/12",
        gate_ms=None,
        recordings=(),
        levels=(),
        multitones=(),
        compression=(),
        no_compression=None,
    )
    stand, cone = (replace(nothing, condition=name, setup=plan.of(name).setup) for name in ("stand", "cone"))
    assert list(kept_setup(plan, [stand, cone])) == []
    moved = replace(cone, setup=replace(cone.setup, distance_m=0.02))
    (told,) = kept_setup(plan, [stand, moved])
    assert (told.key, told.now, told.recorded, told.conditions) == ("distance_m", 0.01, 0.02, ("cone",))
