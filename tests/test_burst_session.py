"""Tone bursts through a whole session: plan, measure, add, reel, check, analyse, show."""

import json
from dataclasses import fields, replace

import numpy as np
import pytest
import soundfile

from distort.capture.measuring import loud_burst
from distort.capture.measuring.completeness import check_session
from distort.capture.measuring.expected import expected_peak_dbfs, expected_rms_dbfs, require_fit
from distort.capture.measuring.least_heard import least_heard
from distort.capture.measuring.playing import measure
from distort.capture.measuring.quiet_run import play_quiet_sweep
from distort.capture.measuring.starting import Choice, require_calibration
from distort.errors import PlanError, SessionError, TooLoudError
from distort.report.terminal.methods import methods_text
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import BurstPlan
from distort.session.plan.kinds import burst_stimulus
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text, text_of
from distort.session.recordings.stimulus_files import planned
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import read_results, result_paths_of
from distort.session.results.kinds import read_kind
from signals.burst import BurstSeries
from tests.clumsy_session import CommandLine
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import FULL_SCALE_DB_SPL, session_on_a_wire

BURSTS = "\n[burst]\nlowest_hz = 200\nhighest_hz = 1000\n"

COLUMNS = (
    "frequency_hz,peak_db_spl,ended_by,compression_db,h2_db,h3_db,h4_db,h5_db,h6_db,h7_db,h8_db,"
    "h2_floor_db,h3_floor_db,h4_floor_db,h5_floor_db,h6_floor_db,h7_floor_db,h8_floor_db,level_db_spl"
)
"""Those of every level follow."""


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    """70 and 82 dB SPL, short stimuli, bursts of eight bands, a calibrated wire."""
    return session_on_a_wire(tmp_path / "monitor", distort, section=BURSTS)


def measured(folder: SessionFolder, device: ScaledLoudspeaker, **choice) -> list[str]:
    plan = read_plan(folder.root)
    done = measure(folder, plan, device, Choice(condition="default", **choice), progress=lambda what, done, total: None)
    return [one.sidecar.name.stem for one in done.recordings]


def table(folder: SessionFolder) -> dict[str, list[str]]:
    header, *rows = (folder.results_folder("default") / "burst.csv").read_text().splitlines()
    assert header.startswith(COLUMNS)
    return dict(zip(header.split(","), zip(*(row.split(",") for row in rows), strict=True), strict=True))


@pytest.mark.study
def test_bursts_are_recorded_checked_analysed_and_shown(folder, distort) -> None:
    """A wire that gives 1 dB less above a drive of -40 dBFS: 82 dB SPL take -38."""
    device = ScaledLoudspeaker(change_db=lambda peak_dbfs: -1.0 if peak_dbfs > -40.0 else 0.0)
    stems = measured(folder, device)
    assert stems == [f"{name}_{level}dB" for level in (70, 82) for name in ("sweep", "multitone", "burst")]
    recording = next(one for one in load_recordings(folder, "default") if one.sidecar.name.stem == "burst_82dB")
    sidecar = recording.sidecar
    assert sidecar.stimulus == burst_stimulus(read_plan(folder.root), drive_dbfs=sidecar.drive_dbfs)
    assert sidecar.drive_dbfs == pytest.approx(82.0 - FULL_SCALE_DB_SPL, abs=0.02)
    # the device is a wire, and is called one
    assert [one.name for one in sidecar.quality.checks if one.verdict != "good"] == ["channel"]
    assert check_session(folder, read_plan(folder.root)).complete
    assert "|burst|" in distort.done("analyze", folder.root)
    found = table(folder)
    assert [float(cell) for cell in found["frequency_hz"]] == pytest.approx(10.0 ** (np.arange(23, 31) / 10), rel=1e-6)
    # the level is held to 0.02 dB; noise 60 dB below moves a reading by less
    peaks_db = [float(cell) for cell in found["peak_db_spl"]]
    assert peaks_db == pytest.approx([82.0 - 1.0 + 20.0 * np.log10(np.sqrt(2.0))] * 8, abs=0.05)
    assert [float(cell) for cell in found["compression_db"]] == pytest.approx([1.0] * 8, abs=0.05)
    assert set(found["ended_by"]) == {"plan"}
    assert set(found["level_db_spl"]) == {"82.0000"}
    said = distort.done("show", folder.root, "burst")
    assert "Compression" in said
    assert "no level above was played" in said
    (document,) = json.loads(distort.done("show", folder.root, "burst", "--json"))
    assert document["columns"]["ended_by"] == ["plan"] * 8
    assert document["columns"]["compression_db"] == pytest.approx([1.0] * 8, abs=0.05)
    assert "burst" in json.loads(folder.findings_path("default").read_text())["further"]
    assert folder.results_folder("default") / "burst.csv" in result_paths_of(folder, "default")
    again = read_results(folder, "default").further["burst"]
    np.testing.assert_allclose(again.peak_db, peaks_db)
    # what changes later is held against what was published
    distort.done("freeze", folder.root, "spring-edition")
    distort.done("reject", folder.root, "default/burst_82dB", "--reason", "somebody coughed")
    assert "results/default/burst.csv" in distort.done("analyze", folder.root)
    found = table(folder)
    assert set(found["level_db_spl"]) == {"70.0000"}
    assert set(found["compression_db"]) == {""}
    # what an analysis does not have any more is no result of today
    distort.done("reject", folder.root, "default/burst_70dB", "--reason", "somebody coughed")
    distort.done("analyze", folder.root)
    assert not (folder.results_folder("default") / "burst.csv").exists()
    assert "burst" not in json.loads(folder.findings_path("default").read_text())["further"]
    assert "holds no analysed burst" in distort.refused("show", folder.root, "burst", inside=folder.root)


@pytest.mark.sample
def test_a_recording_of_bursts_is_brought_in(folder, distort, tmp_path) -> None:
    distort.done("stimuli", folder.root)
    played, rate = soundfile.read(folder.root / "stimuli/burst_70dB.wav")
    heard = np.pad(0.5 * played, (rate, rate)) + 1e-6 * np.random.default_rng(3).standard_normal(played.size + 2 * rate)
    soundfile.write(tmp_path / "take.wav", heard, rate, subtype="FLOAT")
    words = ("--stimulus", "burst", "--level", "70", "--playback-change-db", "0")
    distort.done("add", folder.root, tmp_path / "take.wav", *words)
    (recording,) = load_recordings(folder, "default")
    assert isinstance(recording.sidecar.stimulus, BurstSeries)
    # by the chirps, at this noise to some hundredths of a sample
    assert recording.sidecar.stimulus_start_sample == pytest.approx(
        rate + recording.sidecar.reel.only_stimulus()[0], abs=0.1
    )
    # told as what it is, where it is called something else
    words = ("--stimulus", "sweep", "--level", "82", "--playback-change-db", "0")
    soundfile.write(tmp_path / "other.wav", 0.9 * heard, rate, subtype="FLOAT")
    said = distort.refused("add", folder.root, tmp_path / "other.wav", *words, inside=folder.root)
    assert "It holds the session's burst: bring it in with --stimulus burst." in said


@pytest.mark.sample
def test_a_reel_holds_the_bursts_of_every_level(folder, distort, tmp_path) -> None:
    distort.done("stimuli", folder.root, "--reel", "--up-to", "82")
    played, rate = soundfile.read(folder.root / "stimuli/reel_up_to_82dB.wav")
    lowest_dbfs = min(one.stimulus.drive_dbfs for one in planned(read_plan(folder.root), {70.0: -18.0, 82.0: -6.0}))
    gain = 10.0 ** ((70.0 - FULL_SCALE_DB_SPL - lowest_dbfs) / 20.0)
    room = np.zeros(960)
    room[[40, 300]] = 1.0, 0.3
    heard = np.convolve(np.pad(gain * played, (2 * rate, rate)), room)
    heard += 3e-6 * np.random.default_rng(3).standard_normal(heard.size)
    soundfile.write(tmp_path / "reel.wav", heard, rate, subtype="FLOAT")
    distort.done("add", folder.root, "--reel", tmp_path / "reel.wav")
    stems = {one.sidecar.name.stem for one in load_recordings(folder, "default")}
    assert {"burst_70dB", "burst_82dB"} <= stems


def test_a_burst_that_is_louder_than_its_response_foretells_stops_the_ladder(folder) -> None:
    """4 dB more above a drive of -40 dBFS, which only the bursts of 82 dB SPL are given here."""
    device = ScaledLoudspeaker(change_db=lambda peak_dbfs: 4.0 if peak_dbfs > -40.0 else 0.0)
    with pytest.raises(TooLoudError, match=r"burst_82dB came out 4\.0 dB louder about"):
        measured(folder, device, only="burst_82dB")


def test_the_peak_is_expected_by_the_response_at_each_band(folder) -> None:
    """A hill of 9 dB, narrow about 500 Hz: bursts that meet it are 9 dB louder than those that do not."""
    plan = read_plan(folder.root)
    quiet = play_quiet_sweep(ScaledLoudspeaker(), plan, require_calibration(folder))
    hill_db = 9.0 * np.exp(-np.square(np.log2(quiet.frequency_hz / 501.187) / 0.05))
    hilly = replace(quiet, heard_db_spl=quiet.heard_db_spl + hill_db)
    there = BurstSeries(bands_hz=(200.0, 501.187), drive_dbfs=-30.0)
    elsewhere = BurstSeries(bands_hz=(200.0, 800.0), drive_dbfs=-30.0)
    assert loud_burst.expected_rms_dbfs(quiet, there) == pytest.approx(-30.0, abs=0.1)
    # within half a row of the table of 1/80 decade
    assert loud_burst.expected_rms_dbfs(hilly, there) == pytest.approx(-21.0, abs=0.3)
    assert loud_burst.expected_rms_dbfs(hilly, elsewhere) == pytest.approx(-30.0, abs=0.1)
    bursts = next(one for one in planned(plan, {82.0: -38.0}) if one.stimulus_name == "burst")
    assert expected_rms_dbfs(hilly, bursts) <= float(np.nanmax(hilly.heard_db_spl)) - 38.0 - hilly.offset_db
    # a sine's peak has the digital level of its r.m.s. (AES17), and the noise comes on top
    assert expected_peak_dbfs(quiet, bursts) == pytest.approx(-38.0, abs=0.1)
    loud = replace(hilly, highest_db_spl=plan.safety.ceiling_db_spl + 39.0)
    with pytest.raises(PlanError, match="where it is loudest"):
        require_fit(loud, plan, [bursts])


def test_while_bursts_sound_only_the_chirps_must_be_heard(folder) -> None:
    plan = read_plan(folder.root)
    quiet = play_quiet_sweep(ScaledLoudspeaker(), plan, require_calibration(folder))
    bursts = next(one for one in planned(plan, {82.0: -38.0}) if one.stimulus_name == "burst")
    assert len(least_heard(quiet, bursts)) == 2


def plan_with(burst: str, **sweep: str) -> object:
    text = plan_text(name="Monitor A", levels_db_spl=(70.0, 82.0)) + burst
    for key, value in sweep.items():
        text = text.replace("[sweep]", f"[sweep]\n{key} = {value}")
    return plan_from_text(text, source="a plan")


def test_the_keys_are_a_contract_with_users_files() -> None:
    assert [key.name for key in fields(BurstPlan)] == [
        *("lowest_hz", "highest_hz", "periods", "gap_s", "max_compression_db", "max_orders_db", "ceiling_db_peak")
    ]
    defaults = BurstPlan()
    assert (defaults.max_compression_db, defaults.ceiling_db_peak) == (3.0, None)
    assert defaults.max_orders_db == (-10.0, -15.0, -20.0, -20.0, -30.0)
    assert (defaults.lowest_hz, defaults.highest_hz, defaults.periods, defaults.gap_s) == (63.0, 8000.0, 6.5, 0.3)


def test_bursts_are_played_only_where_the_plan_has_them() -> None:
    drives = {70.0: -40.0}
    without, played = plan_with(""), plan_with(BURSTS)
    assert without.burst is None
    assert "burst" not in {one.stimulus_name for one in planned(without, drives)}
    assert [one.stimulus_name for one in planned(played, drives)][-1] == "burst"
    assert "[burst]" not in text_of(without)
    assert plan_from_text(text_of(played), source="again") == played
    # a new plan says how to have them
    offered = plan_text(name="Monitor A", levels_db_spl=(70.0,)).split("\n\n")
    (block,) = [one for one in offered if "[burst]" in one]
    uncommented = "\n".join(line.removeprefix("# ") for line in block.splitlines()[1:])
    assert plan_with(f"\n{uncommented}\n").burst.periods == 6.5


def test_no_burst_is_below_what_the_plan_protects() -> None:
    protected = burst_stimulus(plan_with(BURSTS, lowest_hz="300"), drive_dbfs=-40.0)
    assert protected.bands_hz[0] == pytest.approx(316.2, abs=0.1)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("lowest_hz = 2000\nhighest_hz = 500\n", r"\[burst\] makes no burst: .*so no third octave is left"),
        ("highest_hz = 20000\n", r"\[burst\] makes no burst: .*sounds up to .*half the sample rate"),
        ("periods = 1\n", r"\[burst\] periods must be a number from 4 to 50"),
        ("gap = 1\n", "the nearest known one is 'gap_s'"),
    ],
)
def test_bursts_that_cannot_be_made_are_refused_with_the_plan(keys, words) -> None:
    with pytest.raises(PlanError, match=words):
        plan_with(f"\n[burst]\n{keys}")


def test_bursts_all_below_what_the_plan_protects_are_refused_with_the_plan() -> None:
    with pytest.raises(PlanError, match=r"up to highest_hz = 1000 lies below lowest_hz = 1200 of \[sweep\]"):
        plan_with(BURSTS, lowest_hz="1200")
    assert plan_with(BURSTS, lowest_hz="900").burst is not None  # 1 kHz is left


def test_a_row_of_no_level_is_told_by_its_band(tmp_path) -> None:
    path = tmp_path / "burst.csv"
    rows = [f"{hz},80,plan,{',' * 15}{level}" for hz, level in ((200.0, "82"), (251.2, ""))]
    path.write_text("\n".join([COLUMNS, *rows]), encoding="utf-8")
    with pytest.raises(SessionError, match=r"the row of 251\.2 Hz says no level_db_spl"):
        read_kind(path, "burst")


def test_the_methods_of_bursts_are_told_with_the_others() -> None:
    text = methods_text()
    assert text.count("## Tone bursts") == 1
    for column in COLUMNS.split(",")[1:4]:
        assert f"`{column}`" in text
