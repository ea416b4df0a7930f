"""Bad input through the command line: each case one plain line, status 1 or 2, nothing written, no number made up."""

import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.__main__ import main
from tests.clumsy_session import RATE, CommandLine, contents, heard, read_only, shorten, table


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """A session with its stimuli, which no test may change."""
    session = tmp_path_factory.mktemp("made") / "monitor"
    assert main(["new", str(session), "--levels", "86,96"]) == 0
    shorten(session, short="true", orders="4")
    assert main(["stimuli", str(session)]) == 0
    return session


@pytest.fixture(scope="module")
def good(made) -> np.ndarray:
    """What a microphone heard of the sweep at 86 dB: one second before the file was played, one after."""
    return heard(made / "stimuli/sweep_86dB.wav")


@pytest.fixture
def session(made, tmp_path) -> Path:
    """A copy of the session to spoil."""
    return Path(shutil.copytree(made, tmp_path / "monitor"))


@pytest.fixture
def recording(tmp_path, good) -> Path:
    """A good recording as 32-bit float WAV."""
    path = tmp_path / "take.wav"
    soundfile.write(path, good, RATE, subtype="FLOAT")
    return path


AS_THE_SWEEP = ("--stimulus", "sweep", "--level", "86")


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
    "noise": ("matches the stimulus", "Give the stimulus that was played"),
    "another stimulus": ("matches the stimulus", "Give the stimulus that was played"),
    "wrong rate in its header": ("states 44100 Hz, but holds the stimulus as recorded at 48000 Hz", "Export it again"),
    "too short": ("shorter than the stimulus", "record all of it"),
    "begins late": ("cut off at its start", "Start recording before playing"),
    "stops early": ("cut off at its end", "Stop recording only after the last sound"),
    "three channels": ("has 3 channels", "--channel"),
}


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
    assert (kept / "sweep_86dB.wav").read_bytes() == recording.read_bytes()


@pytest.mark.parametrize(
    ("words", "status", "what"),
    [
        (("--stimulus", "sweep", "--level", "87"), 1, "no stimulus sweep_87dB: there are"),
        (("--stimulus", "swep", "--level", "86"), 1, "no stimulus swep_86dB: there are"),
        (("--stimulus", "../sweep", "--level", "86"), 1, "cannot name a stimulus"),
        (("--stimulus", "sweep"), 2, "--level"),
        (("--level", "86"), 2, "--stimulus"),
        (("--stimulus", "sweep", "--level", "loud"), 2, "'loud' is not a number"),
        ((*AS_THE_SWEEP, "--turned-db", "nan"), 2, "'nan' is not a finite number"),
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
    # a quarter of a second after the sweep is no silence: the room still rings, and less than a block is left
    cut_to(recording, good, first - 10, end + RATE // 4)
    out = distort.done("add", session, recording, *AS_THE_SWEEP)
    assert "no silence before or after the stimulus, so there is no noise floor" in out
    assert "no silence before or after the stimulus, so there is no noise floor" in distort.done("analyze", session)
    assert "No noise floor:" in distort.done("show", session, "harmonics")
    single = distort.done("analyze", recording, "--stimulus", session / "stimuli/sweep_86dB.json")
    assert "No noise floor:" in single
    harmonics = table(session / "results/default/harmonics_86dB.csv")
    response = table(session / "results/default/response_86dB.csv")
    for order in range(2, 5):
        assert np.isnan(harmonics[f"h{order}_noise_db"]).all()
        assert np.isnan(harmonics[f"h{order}_uncertainty_db"]).all()
    assert np.isnan(response["noise_dbfs"]).all()
    assert np.isfinite(harmonics["h2_db"]).any()


@pytest.mark.parametrize("side", ["before", "after"])
def test_one_silence_is_enough_for_a_noise_floor(distort, session, recording, good, side) -> None:
    first, end = sweep_span(session)
    cut_to(recording, good, *((0, end + 100) if side == "before" else (first - 10, good.size)))
    out = distort.done("add", session, recording, *AS_THE_SWEEP)
    assert f"There is silence only {side} the stimulus" in out
    distort.done("analyze", session)
    one = table(session / "results/default/harmonics_86dB.csv")["h2_noise_db"]
    assert "No noise floor" not in distort.done("show", session, "harmonics")
    cut_to(recording, good, 0, good.size)
    distort.done("add", session, recording, "--stimulus", "sweep", "--level", "96")
    distort.done("analyze", session)
    both = table(session / "results/default/harmonics_96dB.csv")["h2_noise_db"]
    assert np.array_equal(np.isfinite(one), np.isfinite(both))
    # the noise is white and the same throughout: over a hundred rows two readings of it agree far within 1 dB
    assert np.nanmean(one - both) == pytest.approx(0.0, abs=0.5)


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


def calibrator(path: Path, amplitude: float = 0.03) -> Path:
    time_s = np.arange(4 * RATE) / RATE
    soundfile.write(path, amplitude * np.sin(2.0 * np.pi * 1000.0 * time_s), RATE, subtype="FLOAT")
    return path


def test_a_calibration_that_comes_too_late_is_told_and_never_mixed_with_dbfs(
    distort, session, recording, good, tmp_path
) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    distort.done("calibrate", session, "--from", calibrator(tmp_path / "calibrator.wav"), "--spl", "94")
    out = distort.done("analyze", session)
    assert "levels are in dBFS" in out
    assert "The session is calibrated now, but recordings were saved before that" in out
    later = tmp_path / "later.wav"
    soundfile.write(later, heard(session / "stimuli/sweep_96dB.wav", seed=5), RATE, subtype="FLOAT")
    distort.done("add", session, later, "--stimulus", "sweep", "--level", "96")
    said = distort.refused("analyze", session, inside=tmp_path)
    assert "sweep_86dB.wav was saved without a calibration" in said
    assert "bring it in again" in said


@pytest.mark.parametrize(
    ("what", "words", "status", "said"),
    [
        ("tone", (), 2, "--spl"),
        ("tone", ("--spl", "much"), 2, "'much' is not a number"),
        ("tone", ("--spl", "200"), 1, "outside the usual 100 to 145 dB"),
        ("sweep", ("--spl", "94"), 1, "no steady tone"),
        ("silence", ("--spl", "94"), 1, "switch the calibrator on"),
        ("missing", ("--spl", "94"), 1, "is missing"),
    ],
)
def test_a_bad_calibrator_recording_sets_nothing(
    distort, session, recording, tmp_path, what, words, status, said
) -> None:
    path = tmp_path / "calibrator.wav"
    if what == "tone":
        calibrator(path)
    elif what == "silence":
        calibrator(path, 0.0)
    elif what == "sweep":
        shutil.copyfile(recording, path)
    assert said in distort.refused("calibrate", session, "--from", path, *words, status=status, inside=tmp_path)


COMMANDS_WITH_A_PLAN = {
    "stimuli": (),
    "measure": ("--simulate",),
    "analyze": (),
    "add": ("take.wav", *AS_THE_SWEEP),
}


@pytest.mark.parametrize("command", COMMANDS_WITH_A_PLAN)
def test_an_unknown_key_is_named_with_the_nearest_known_one(distort, session, tmp_path, command) -> None:
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("orders = ", "ordres = "), encoding="utf-8")
    said = distort.refused(command, session, *COMMANDS_WITH_A_PLAN[command], inside=tmp_path)
    assert said == f"{plan}: unknown key in [analysis]: 'ordres'; the nearest known one is 'orders'"


def test_more_orders_than_the_sweep_allows_are_refused_with_the_length_that_would_do(
    distort, session, recording, tmp_path
) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    plan = session / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("orders = 4", "orders = 30"), encoding="utf-8")
    for command in (("stimuli",), ("analyze",), ("measure", "--simulate")):
        said = distort.refused(command[0], session, *command[1:], inside=tmp_path)
        assert "30 orders cannot be told apart in a sweep of" in said
        # L = 0.03 s / ln(31/30) = 0.915 s, up to a whole turn at 10 Hz 1.0 s; T = L ln(2200) = 7.70 s, rounded up
        assert "play one of at least 7.7 s" in said


@pytest.mark.parametrize(
    ("words", "status", "what"),
    [
        (("analyze", "none"), 1, "there is no folder"),
        (("analyze", "none.wav", "--stimulus", "monitor/stimuli/sweep_86dB.json"), 1, "none.wav is missing"),
        (("analyze", "take.wav", "--stimulus", "none.json"), 1, "none.json is missing"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli/sweep_86dB.wav"), 1, "name the .json file"),
        (("analyze", "take.wav", "--stimulus", "monitor/session.toml"), 1, "name a .json file"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli"), 1, "is a folder"),
        (("analyze", "take.wav"), 2, "--stimulus"),
        (("analyze", "monitor", "--stimulus", "monitor/stimuli/sweep_86dB.json"), 2, "is a folder: --stimulus goes"),
        (("analyze", "take.wav", "--stimulus", "monitor/stimuli/sweep_86dB.json", "--json"), 2, "--json"),
        (("analyze", "monitor", "--channel", "2"), 2, "--channel"),
        (("analyze", "monitor", "--condition", "desk"), 1, "no recordings of condition 'desk'"),
        (("analyze", "monitor"), 1, "has no recordings yet"),
        (("analyze", ""), 2, "the name is empty"),
        (("show", "monitor", "response"), 1, "has no results yet: run `distort analyze"),
        (("show", "monitor", "harmonics"), 1, "has no results yet: run `distort analyze"),
        (("show", "monitor", "loudness"), 2, "'loudness'"),
        (("show", "none", "response"), 1, "there is no folder"),
        (("report", "monitor"), 1, "has no results yet: run `distort analyze"),
        (("measure", "monitor"), 2, "--simulate"),
        (("measure", "monitor", "--simulate", "--condition", "desk"), 2, "no condition 'desk'"),
        (("stimuli", "take.wav"), 1, "is not a folder"),
        (("new", "monitor"), 1, "exists already and is never overwritten"),
        (("new", "take.wav"), 1, "a file stands where a folder is needed"),
        (("new", "take.wav/monitor"), 1, "a file stands where a folder is needed"),
        (("new", ""), 2, "the name is empty"),
        (("new", "other", "--levels", "96,86"), 2, "from the lowest to the highest"),
    ],
)
def test_what_is_missing_or_does_not_go_together(
    distort, session, recording, tmp_path, monkeypatch, words, status, what
) -> None:
    monkeypatch.chdir(tmp_path)
    assert what in distort.refused(*words, status=status, inside=tmp_path)


@pytest.mark.parametrize("what", ["findings.json", "response_86dB.csv", "harmonics_86dB.csv"])
@pytest.mark.parametrize("how", ["spoilt", "gone"])
def test_spoilt_results_are_not_shown_and_are_made_again(distort, session, recording, tmp_path, what, how) -> None:
    distort.done("add", session, recording, *AS_THE_SWEEP)
    distort.done("analyze", session)
    results = session / "results"
    whole = contents(results)
    if how == "gone":
        (results / "default" / what).unlink()
    else:
        text = (results / "default" / what).read_text(encoding="utf-8")
        (results / "default" / what).write_text(text.replace("-", "x", 3), encoding="utf-8")
    for command in (("show", session, "harmonics"), ("report", session)):
        assert "distort analyze" in distort.refused(*command, inside=tmp_path)
    distort.done("analyze", session)
    assert contents(results) == whole


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that every user may enter: pytest's own are closed to others."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def test_a_read_only_folder_is_named_and_nothing_is_half_written(distort, made, good, shared) -> None:
    session = Path(shutil.copytree(made, shared / "monitor"))
    first, second = shared / "first.wav", shared / "second.wav"
    soundfile.write(first, good, RATE, subtype="FLOAT")
    soundfile.write(second, heard(session / "stimuli/sweep_96dB.wav", seed=3), RATE, subtype="FLOAT")
    distort.done("add", session, first, *AS_THE_SWEEP)
    distort.done("analyze", session)
    (session / "stimuli/sweep_96dB.json").write_bytes((made / "stimuli/sweep_96dB.json").read_bytes())
    tone = calibrator(shared / "calibrator.wav")
    with read_only(session):
        with pytest.raises(PermissionError):
            (session / "probe").touch()
        for words in (
            ("analyze", session),
            ("report", session),
            ("add", session, second, "--stimulus", "sweep", "--level", "96"),
            ("calibrate", session, "--from", tone, "--spl", "94"),
            ("new", session / "inner"),
        ):
            said = distort.refused(*words, inside=shared)
            assert str(session) in said
            assert "is read-only here; make it writable" in said
        assert "H2 dB" in distort.done("show", session, "harmonics")


def test_a_file_that_may_not_be_read_is_named(distort, made, good, shared) -> None:
    session = Path(shutil.copytree(made, shared / "monitor"))
    locked = shared / "locked"
    locked.mkdir()
    soundfile.write(locked / "take.wav", good, RATE, subtype="FLOAT")
    with read_only(session):
        pass  # only sees to it that the copy may be read by everyone
    (locked / "take.wav").chmod(0o000)
    with read_only(session):
        ending = distort("add", session, locked / "take.wav", *AS_THE_SWEEP)
    (locked / "take.wav").chmod(0o644)
    assert ending.status == 1
    assert str(locked / "take.wav") in ending.err
    assert "Permission denied" in ending.err
    assert len(ending.err.splitlines()) == 1


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


def resampled(samples: np.ndarray, rate: int) -> np.ndarray:
    """By scipy's Fourier method: ideal, and not the resampler of the program."""
    return np.asarray(scipy.signal.resample(samples, samples.size * rate // RATE))


FORMATS = {
    "pcm16": ("wav", "PCM_16", RATE, ()),
    "pcm24": ("flac", "PCM_24", RATE, ()),
    "pcm32": ("wav", "PCM_32", RATE, ()),
    "double": ("wav", "DOUBLE", RATE, ()),
    "channel2": ("wav", "FLOAT", RATE, ("--channel", "2")),
    "at44100": ("wav", "FLOAT", 44100, ()),
    "at96000": ("wav", "FLOAT", 96000, ()),
}


@pytest.fixture(scope="module")
def formats(made, tmp_path_factory) -> Path:
    """A session in which every condition is the same recording, each in another format."""
    work = tmp_path_factory.mktemp("formats")
    session = Path(shutil.copytree(made, work / "monitor"))
    names = ", ".join(f'"{name}"' for name in ("original", *FORMATS))
    shorten(session, orders="4", conditions=f"[{names}]")
    sound = heard(session / "stimuli/sweep_96dB.wav")
    whole = sound[: sound.size // 160 * 160]  # 160 samples at 48 kHz are 147 at 44.1 kHz
    as_the_loud_sweep = ("--stimulus", "sweep", "--level", "96")
    for name, (suffix, subtype, rate, words) in {"original": ("wav", "FLOAT", RATE, ()), **FORMATS}.items():
        samples = whole if rate == RATE else resampled(whole, rate)
        others = 0.1 * np.random.default_rng(7).standard_normal((2, samples.size))
        columns = np.column_stack([others[0], samples, others[1]]) if words else samples
        path = work / f"{name}.{suffix}"
        soundfile.write(path, columns, rate, subtype=subtype)
        assert main(["add", str(session), str(path), *as_the_loud_sweep, "--condition", name, *words]) == 0
    assert main(["analyze", str(session)]) == 0
    return session


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_rate_and_channel_gives_the_same_curves(formats, name) -> None:
    """The same sound read from another file. Below 19 kHz, where converters and resamplers at 44.1 kHz are flat."""
    original = table(formats / "results/original/harmonics_96dB.csv")
    other = table(formats / f"results/{name}/harmonics_96dB.csv")
    frequency_hz = original["frequency_hz"]
    heard_there = frequency_hz < 19000.0
    # the resampler is flat within 0.001 dB, steps of 16 bits lie 80 dB below the sweep: 0.001 dB; files round to 1e-4
    np.testing.assert_allclose(
        other["fundamental_dbfs"][heard_there], original["fundamental_dbfs"][heard_there], rtol=0, atol=0.003
    )
    for order in (2, 3):
        clear = (order * frequency_hz < 19000.0) & (original[f"h{order}_db"] > original[f"h{order}_noise_db"] + 20.0)
        assert np.sum(clear) > 100
        difference = np.abs(other[f"h{order}_db"] - original[f"h{order}_db"])[clear]
        # steps of 16 bits (2^-15 / sqrt(12), W. R. Bennett 1948) are noise 21 dB below the recording's own, so 41 dB
        # below these readings: 0.08 dB, rarely twice that. Others differ by rounding alone.
        allowed_db = 0.15 if name == "pcm16" else 0.01
        assert np.max(difference) < allowed_db
