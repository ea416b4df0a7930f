"""Bad input through the command line: each case one plain line, status 1 or 2, nothing written, no number made up."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.clumsy_session import AS_THE_SWEEP, RATE, heard, table

pytest_plugins = ["tests.clumsy_fixtures"]


def sweep_span(session: Path) -> tuple[int, int]:
    """First sample of the sweep and the one after its last in what `heard` returns (40 samples of delay)."""
    reel = json.loads((session / "stimuli/sweep_86dB.json").read_text(encoding="utf-8"))["reel"]
    (sweep,) = [part for part in reel if part["kind"] == "sweep"]
    first = RATE + sweep["start_sample"] + 40
    return first, first + sweep["n_samples"]


def spoilt(how: str, path: Path, good: np.ndarray, session: Path) -> None:
    """Write a recording that is bad in one way."""
    first, end = sweep_span(session)
    changed = {
        "no sample": good[:0],
        "silent": np.zeros_like(good),
        "offset alone": np.full_like(good, 0.05),
        "nan": np.where(np.arange(good.size) == 1234, np.nan, good),
        "infinite": np.where(np.arange(good.size) == 1234, np.inf, good),
        "clipped at full scale": np.clip(good * 0.99 / np.max(np.abs(good)) * 2.0, -1.0, 1.0),
        "clipped below full scale": np.clip(good, -0.5 * np.max(np.abs(good)), 0.5 * np.max(np.abs(good))),
        "noise": 0.01 * np.random.default_rng(2).standard_normal(good.size),
        "too short": good[: (end - first) // 2],
        "begins late": good[first + RATE :],
        "stops early": good[: end - RATE // 2],
    }
    if how in changed:
        soundfile.write(path, changed[how], RATE, subtype="FLOAT")
    elif how == "another stimulus":
        soundfile.write(path, heard(session / "stimuli/sweep-short_86dB.wav"), RATE, subtype="FLOAT")
    elif how == "wrong rate in its header":
        soundfile.write(path, good, 44100, subtype="FLOAT")
    elif how == "no byte":
        path.write_bytes(b"")
    elif how == "text":
        path.write_text("These are the minutes of our meeting.\n" * 100, encoding="utf-8")
    elif how == "a folder":
        path.mkdir()
    elif how == "truncated":
        soundfile.write(path, good, RATE, subtype="FLOAT")
        path.write_bytes(path.read_bytes()[:-40000])
    elif how == "three channels":
        soundfile.write(path, np.column_stack([good, 0.0 * good, good]), RATE, subtype="FLOAT")
    else:
        assert how == "missing"


BAD_RECORDINGS = {
    "missing": ("is missing", "look whether"),
    "a folder": ("is a folder", "name the WAV or FLAC file"),
    "text": ("cannot be read as WAV or FLAC audio", "no audio file"),
    "no byte": ("is empty", "record it again"),
    "no sample": ("is empty", "record again"),
    "truncated": ("is truncated", "copy it again"),
    "silent": ("silent", "check the cable"),
    "offset alone": ("silent", "check the cable"),
    "nan": ("not a number (sample 1234)", "export it again"),
    "infinite": ("not a number (sample 1234)", "export it again"),
    "clipped at full scale": ("samples are clipped at", "turn the input gain down"),
    "clipped below full scale": ("samples are clipped at", "turn the input gain down"),
    "noise": ("nothing but noise", "take the channel that the microphone is on"),
    "another stimulus": ("matches the stimulus", "Give the stimulus that was played"),
    "wrong rate in its header": ("states 44100 Hz, but holds the stimulus as recorded at 48000 Hz", "Export it again"),
    "too short": ("shorter than the stimulus", "record all of it"),
    "begins late": ("cut off at its start", "Start recording before playing"),
    "stops early": ("cut off at its end", "Stop recording only after the last sound"),
    "three channels": ("has 3 channels", "--channel"),
}


@pytest.mark.first(8)
@pytest.mark.parametrize("how", BAD_RECORDINGS)
def test_a_bad_recording_is_refused_by_add_and_by_analyze(distort, session, tmp_path, good, how) -> None:
    path = tmp_path / "take.wav"
    spoilt(how, path, good, session)
    what, advice = BAD_RECORDINGS[how]
    stimulus = session / "stimuli/sweep_86dB.json"
    for words in (("add", session, path, *AS_THE_SWEEP), ("analyze", path, "--stimulus", stimulus)):
        if (how, words[0]) == ("a folder", "analyze"):
            continue  # a folder is a session there, and takes no --stimulus: among the wrong words below
        said = distort.refused(*words, inside=tmp_path)
        assert str(path) in said
        assert what in said
        assert advice in said


def test_a_truncated_flac_is_refused(distort, session, tmp_path, good) -> None:
    path = tmp_path / "take.flac"
    soundfile.write(path, good, RATE, subtype="PCM_24")
    path.write_bytes(path.read_bytes()[:-40000])
    said = distort.refused("add", session, path, *AS_THE_SWEEP, inside=tmp_path)
    assert f"{path} is truncated" in said
    assert "copy it again" in said


@pytest.mark.parametrize(
    ("channel", "status", "what"),
    [("4", 1, "has no channel 4"), ("2", 1, "silent"), ("0", 2, "counted 1, 2, 3"), ("left", 2, "counted 1, 2, 3")],
)
def test_a_wrong_channel_is_refused(distort, session, tmp_path, good, channel, status, what) -> None:
    path = tmp_path / "take.wav"
    spoilt("three channels", path, good, session)
    words = ("add", session, path, *AS_THE_SWEEP, "--channel", channel)
    assert what in distort.refused(*words, status=status, inside=tmp_path)


def test_the_same_file_is_not_brought_in_twice(distort, session, recording, tmp_path) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    for level in ("86", "96"):
        said = distort.refused("add", session, recording, "--stimulus", "sweep", "--level", level, inside=tmp_path)
        assert "is in the session already, as" in said


def test_of_several_files_those_before_a_bad_one_are_kept(distort, session, recording, tmp_path) -> None:
    ending = distort("add", session, recording, tmp_path / "none.wav", *AS_THE_SWEEP)
    assert ending.status == 1
    assert "default/sweep_86dB: good" in ending.out
    assert "none.wav is missing" in ending.err
    kept = session / "recordings/default"
    assert sorted(path.name for path in kept.iterdir()) == ["sweep_86dB.json", "sweep_86dB.wav"]
    samples, _ = soundfile.read(kept / "sweep_86dB.wav", dtype="float32")
    assert np.array_equal(samples, soundfile.read(recording, dtype="float32")[0])


@pytest.mark.parametrize(
    ("words", "status", "what"),
    [
        (("--stimulus", "sweep", "--level", "87"), 1, "no stimulus sweep_87dB (did you mean sweep_86dB?): there are"),
        (("--stimulus", "swep", "--level", "86"), 1, "no stimulus swep_86dB (did you mean sweep_86dB?): there are"),
        (("--stimulus", "../sweep", "--level", "86"), 1, "cannot name a stimulus"),
        (("--stimulus", "sweep"), 2, "--level"),
        (("--level", "86"), 2, "--stimulus"),
        (("--stimulus", "sweep", "--level", "loud"), 2, "'loud' is not a number"),
        ((*AS_THE_SWEEP, "--playback-change-db", "nan"), 2, "'nan' is not a finite number"),
        ((*AS_THE_SWEEP, "--condition", "desk"), 2, "no condition 'desk': it has default"),
        ((*AS_THE_SWEEP, "--conditon", "desk"), 2, "did you mean --condition?"),
    ],
)
def test_wrong_words_of_add(distort, session, recording, tmp_path, words, status, what) -> None:
    assert what in distort.refused("add", session, recording, *words, status=status, inside=tmp_path)


def cut_to(recording: Path, good: np.ndarray, first: int, end: int) -> None:
    soundfile.write(recording, good[first:end], RATE, subtype="FLOAT")


def test_without_any_silence_there_is_no_noise_floor_and_every_command_says_so(
    distort, session, recording, good
) -> None:
    first, end = sweep_span(session)
    # of what was recorded half a second must be silence, and nothing is while the sound decays
    cut_to(recording, good, first - 10, end + round(0.45 * RATE))
    out = distort.done("add", session, recording, *AS_THE_SWEEP)
    assert "no silence of 0.5 s before or after the stimulus, so the noise floor is not known" in out
    assert "so the noise floor is not known" in distort.done("analyze", session)
    assert "The noise floor is not known" in distort.done("show", session, "harmonics")
    single = distort.done("analyze", recording, "--stimulus", session / "stimuli/sweep_86dB.json")
    assert "The noise floor is not known" in single
    harmonics = table(session / "results/default/harmonics_86dB.csv")
    response = table(session / "results/default/response_86dB.csv")
    for order in range(2, 5):
        assert np.isnan(harmonics[f"h{order}_noise_db"]).all()
        assert np.isnan(harmonics[f"h{order}_uncertainty_db"]).all()
    assert np.isnan(response["noise_dbfs"]).all()
    assert np.isfinite(harmonics["h2_db"]).any()


@pytest.mark.first(1)
@pytest.mark.parametrize(("before", "after"), [(24, 200), (-200, -24)])
@pytest.mark.sample
def test_a_recording_that_lacks_some_samples_of_the_fades_is_whole_enough(
    distort, session, recording, good, before, after
) -> None:
    """Half a millisecond at either end: the sweep has hardly begun there, and is over."""
    first, end = sweep_span(session)
    cut_to(recording, good, first + before, end + after)
    distort.done("add", session, recording, *AS_THE_SWEEP)
    distort.done("analyze", session)
    single = distort.done("analyze", recording, "--stimulus", session / "stimuli/sweep_86dB.json")
    assert "H2 dB" in single
    less = table(session / "results/default/response_86dB.csv")
    soundfile.write(recording, good, RATE, subtype="FLOAT")
    distort.done("add", session, recording, "--stimulus", "sweep", "--level", "96")
    distort.done("analyze", session)
    whole = table(session / "results/default/response_96dB.csv")
    # both are one recording, told to be of drives 10 dB apart, so levels agree; noise subtracted or not is 0.01 dB
    middle = (whole["frequency_hz"] > 30.0) & (whole["frequency_hz"] < 19000.0)
    np.testing.assert_allclose(less["level_dbfs"][middle], whole["level_dbfs"][middle], rtol=0, atol=0.02)


@pytest.mark.first(1)
@pytest.mark.parametrize("side", ["before", "after"])
def test_one_silence_is_enough_for_a_noise_floor(distort, session, recording, good, side) -> None:
    first, end = sweep_span(session)
    cut_to(recording, good, *((0, end + 100) if side == "before" else (first - 10, good.size)))
    out = distort.done("add", session, recording, *AS_THE_SWEEP)
    assert f"There is silence only {side} the stimulus" in out
    distort.done("analyze", session)
    one = table(session / "results/default/harmonics_86dB.csv")["h2_noise_db"]
    assert "noise floor is not known" not in distort.done("show", session, "harmonics")
    cut_to(recording, good, 0, good.size)
    distort.done("add", session, recording, "--stimulus", "sweep", "--level", "96")
    distort.done("analyze", session)
    both = table(session / "results/default/harmonics_96dB.csv")["h2_noise_db"]
    assert np.array_equal(np.isfinite(one), np.isfinite(both))
    # the noise is white and the same throughout: over a hundred rows two readings of it agree far within 1 dB
    assert np.nanmean(one - both) == pytest.approx(0.0, abs=0.5)


@pytest.mark.sample
def test_without_a_calibration_levels_are_dbfs_and_no_spl_is_made_up(distort, session, recording) -> None:
    assert "There is no calibration: results will be in dBFS" in distort.done("add", session, recording, *AS_THE_SWEEP)
    for out in (
        distort.done("analyze", session),
        distort.done("show", session, "response"),
        distort.done("show", session, "harmonics"),
    ):
        assert "No calibration: levels are in dBFS, and no sound pressure level is known." in out
        # the only SPL that may stand there is the nominal level, which names the rung
        assert "dB SPL" not in out.replace("86 dB SPL nominal", "")
    columns = [*table(session / "results/default/response_86dB.csv")]
    columns += table(session / "results/default/harmonics_86dB.csv")
    assert not [name for name in columns if "spl" in name]
    assert {"level_dbfs", "noise_dbfs", "fundamental_dbfs", "h2_dbfs", "h4_dbfs"} <= set(columns)
    findings = json.loads((session / "results/default/findings.json").read_text(encoding="utf-8"))
    assert findings["levels"][0]["unit"] == "dbfs"
    # gain of `heard`: 0.4 at the direct sound, so the drive falls by 8 dB give or take its room
    drive_dbfs = findings["levels"][0]["drive_dbfs"]
    assert findings["levels"][0]["measured_db"] == pytest.approx(drive_dbfs + 20.0 * np.log10(0.4), abs=2.0)
    distort.done("report", session)
    for figure in (session / "results/figures").glob("response*.svg"):
        text = figure.read_text(encoding="utf-8")
        assert "dBFS" in text


@pytest.mark.sample
def test_the_program_itself_ends_with_the_status_and_the_line(session, tmp_path) -> None:
    """As a process, not as a function: what a shell sees."""
    ending = subprocess.run(
        [sys.executable, "-m", "distort", "add", session, tmp_path / "none.wav", *AS_THE_SWEEP],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert (ending.returncode, ending.stdout) == (1, "")
    assert ending.stderr == f"distort: {tmp_path / 'none.wav'} is missing: look whether its name and folder are right\n"
