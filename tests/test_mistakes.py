"""Mistakes that people make with recordings of their own, from an empty folder on, and the words that they get."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.__main__ import main
from distort.capture.importing.expected_level import off_alike_db
from distort.capture.measuring.third_octaves import ThirdOctaves
from distort.errors import SessionError
from distort.report.terminal.methods import methods_text
from distort.session.files.folder import SessionFolder
from distort.session.published.frozen import read_frozen
from distort.session.recordings import stored
from distort.session.recordings.sidecar import read_sidecar
from distort.session.recordings.stored import files_called, load_recordings
from tests.blank_figures import blank_figures
from tests.clumsy_session import contents, heard, shorten, unchanged

pytest_plugins = ["tests.clumsy_fixtures"]

RATE = 16000

FULL_SCALE_DB_SPL = 114.0
"""A calibrator of 94 dB SPL that reads -20 dBFS."""


@pytest.fixture(scope="module")
def empty(tmp_path_factory) -> Iterator[Path]:
    """A session of three levels and two conditions with its stimuli; beside it a recording of each sweep."""
    session = tmp_path_factory.mktemp("mistakes") / "monitor"
    assert main(["new", str(session), "--levels", "76,86,96"]) == 0
    shorten(session, seconds="1.6", orders="3", sample_rate=str(RATE), stop_hz="7000", conditions='["stand", "desk"]')
    assert main(["stimuli", str(session)]) == 0
    for level in (76, 86, 96):
        sound = heard(session / f"stimuli/sweep_{level}dB.wav", before_s=0.4, after_s=0.4)
        soundfile.write(session.parent / f"{level}.wav", sound, RATE, subtype="FLOAT")
    tone = 10.0 ** ((94.0 - FULL_SCALE_DB_SPL) / 20.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(5 * RATE) / RATE)
    soundfile.write(session.parent / "calibrator.wav", tone, RATE, subtype="FLOAT")
    with unchanged(session):
        yield session


@pytest.fixture
def monitor(empty, tmp_path) -> Path:
    for name in ("76.wav", "86.wav", "96.wav", "calibrator.wav"):
        (tmp_path / name).hardlink_to(empty.parent / name)
    return Path(shutil.copytree(empty, tmp_path / "monitor"))


def again(monitor: Path, level: int, *, gain_db: float = 0.0, seed: int = 1) -> Path:
    """Another take of that file, a little noisier."""
    sound, _ = soundfile.read(monitor.parent / f"{level}.wav")
    noise = 1e-5 * np.random.default_rng(seed).standard_normal(sound.size)
    path = monitor.parent / f"{level}_{seed}.wav"
    soundfile.write(path, 10.0 ** (gain_db / 20.0) * sound + noise, RATE, subtype="FLOAT")
    return path


def page(distort, monitor: Path) -> str:
    """The report page; nobody looks at its figures."""
    with blank_figures():
        distort.done("report", monitor)
    return (monitor / "results/report.html").read_text(encoding="utf-8")


def added(distort, monitor: Path, level: int, file: Path | int, *words: object, turned: str | None = "0") -> str:
    """What `add` says of a file that is called a sweep of that level."""
    source = monitor.parent / f"{file}.wav" if isinstance(file, int) else file
    condition = () if "--condition" in words else ("--condition", "stand")
    told = () if turned is None else ("--playback-change-db", turned)
    return str(distort.done("add", monitor, source, "--stimulus", "sweep", "--level", level, *condition, *told, *words))


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("as_level", "file", "turned", "words"),
    [
        (
            86,
            96,
            "0",
            "10.0 dB louder than sweep_76dB leads one to expect: is this the 86 dB file? If it is that of 96",
        ),
        (96, 86, "0", "10.0 dB quieter than sweep_76dB leads one to expect: is this the 96 dB file, or a limiter? If"),
        (86, 96, None, "sweep_76dB leads one to expect: is this the 86 dB file, or was the volume turned? If it is"),
    ],
)
def test_a_level_that_is_not_the_nominal_one_is_told_without_a_calibration(
    distort, monitor, as_level, file, turned, words
) -> None:
    assert "Careful" not in added(distort, monitor, 76, 76, turned=turned)
    said = added(distort, monitor, as_level, file, turned=turned)
    assert words in said
    assert f"distort relabel {monitor} stand/sweep_{as_level}dB --level {file} --reason TEXT" in said


@pytest.mark.sample
def test_what_is_as_expected_or_not_off_alike_is_no_wrong_level(distort, monitor) -> None:
    added(distort, monitor, 76, 76)
    assert "one to expect" not in added(distort, monitor, 86, 86)
    assert "one to expect" not in added(distort, monitor, 96, again(monitor, 96, gain_db=-6.0), turned="-6")
    sound, _ = soundfile.read(monitor.parent / "96.wav")
    octaves = np.log2(np.maximum(np.fft.rfftfreq(sound.size, 1.0 / RATE), 20.0) / 20.0)
    tilted = np.fft.irfft(np.fft.rfft(sound) * 10.0 ** ((-10.0 + 0.2 * octaves) / 20.0), sound.size)
    soundfile.write(monitor.parent / "tilted.wav", tilted, RATE, subtype="FLOAT")
    assert "one to expect" not in added(distort, monitor, 96, monitor.parent / "tilted.wav")


def bands(gain_db: list[float], *, noise_db: float = -60.0) -> ThirdOctaves:
    count = len(gain_db)
    return ThirdOctaves(
        drive_dbfs=-20.0,
        midband_hz=100.0 * 10.0 ** (np.arange(count) / 10.0),
        output_db_spl=np.array(gain_db) - 20.0,
        noise_db=np.full(count, noise_db),
    )


@pytest.mark.parametrize(
    ("gain_db", "noise_db", "off_db"),
    [
        ([10.0, 10.0, 10.0, 10.0, 9.51, 10.49], -60.0, 10.0),
        ([10.0, 10.0, 10.0, 10.0, 9.49, 10.0], -60.0, None),
        ([10.0, 10.0, 10.0, 10.0, 10.0, 10.51], -60.0, None),
        ([10.0] * 5, -60.0, None),
        ([10.0] * 6, -30.1, 10.0),
        ([10.0] * 6, -29.9, None),
        ([10.0] * 6 + [np.nan], -60.0, 10.0),
    ],
)
def test_all_third_octaves_are_off_alike_within_half_a_decibel(gain_db, noise_db, off_db) -> None:
    assert off_alike_db(bands(gain_db), bands([0.0] * len(gain_db), noise_db=noise_db)) == off_db


UNLIKE = "takes 1 and 2 of sweep_86dB differ by 10.0 dB: is one of them another level?"


@pytest.fixture
def unlike(distort, monitor) -> Path:
    """Of two takes at 86 dB the second is of another file; the other condition is whole."""
    for level in (76, 86):
        added(distort, monitor, level, level)
        added(distort, monitor, level, again(monitor, level, seed=2), "--condition", "desk")
    assert f"Careful: {UNLIKE}" in added(distort, monitor, 86, 96)
    return monitor


@pytest.mark.sample
def test_takes_that_differ_are_not_averaged_in_silence(distort, unlike) -> None:
    ending = distort("check", unlike)
    assert ending.status == 1
    assert f"{UNLIKE} If take 2 is: `distort relabel {unlike} stand/sweep_86dB_take2 --level DB" in ending.out
    assert "1 pair of takes that differ" in ending.out
    assert json.loads(distort("check", unlike, "--json").out)["unlike"][0]["takes"] == [1, 2]
    said = distort.refused("compare", f"{unlike}:stand", f"{unlike}:desk", inside=unlike)
    assert said.startswith(f"stand: {UNLIKE}")
    # mended, nobody speaks of it any more
    distort.done("relabel", unlike, "stand/sweep_86dB_take2", "--level", "96", "--reason", "the wrong file")
    assert "of takes that differ" not in distort("check", unlike).out


@pytest.mark.study
def test_results_of_takes_that_differ_say_so_until_it_is_mended(distort, unlike) -> None:
    said = distort.done("analyze", unlike)
    assert f"Careful: {UNLIKE} They were averaged." in said
    assert f"`distort reject {unlike} stand/sweep_86dB_take2 --reason TEXT` leaves it out" in said
    assert f"Condition stand: Careful: {UNLIKE}" in page(distort, unlike)
    distort.done("relabel", unlike, "stand/sweep_86dB_take2", "--level", "96", "--reason", "the wrong file")
    assert "differ by" not in distort.done("compare", f"{unlike}:stand", f"{unlike}:desk")


@pytest.mark.sample
def test_a_repositioned_take_may_differ_and_so_may_one_by_its_noise(distort, monitor) -> None:
    added(distort, monitor, 86, 86)
    assert "differ" not in added(distort, monitor, 86, again(monitor, 86, gain_db=1.05), "--repositioned")
    added(distort, monitor, 86, again(monitor, 86, seed=3), "--condition", "desk")
    # beyond 1 dB by less than its noise, 60 dB lower, may have moved either: 20 log10(1 + 10^(-60/20)) = 0.009 dB
    assert "differ" not in added(distort, monitor, 86, again(monitor, 86, gain_db=0.99, seed=4), "--condition", "desk")
    assert "differ by 1.1 dB" in added(
        distort, monitor, 86, again(monitor, 86, gain_db=1.1, seed=5), "--condition", "desk"
    )


@pytest.mark.sample
def test_relabelling_checks_anew_and_keeps_what_was_said_before(distort, monitor) -> None:
    added(distort, monitor, 76, 76)
    added(distort, monitor, 86, 96)
    distort.done("analyze", monitor)
    distort.done("freeze", monitor, "spring-edition")
    folder = SessionFolder(monitor)
    before = files_called(folder, "stand/sweep_86dB")
    sound, sidecar = before.audio_path.read_bytes(), read_sidecar(before.sidecar_path)
    said = distort.done("relabel", monitor, "stand/sweep_86dB", "--level", "96", "--reason", "the wrong file")
    assert "stand/sweep_86dB is stand/sweep_96dB from now on: the wrong file\nstand/sweep_96dB: good\n" in said
    assert "what was frozen as spring-edition rests on what it was before, and stays as it was published" in said
    (mended,) = [one for one in load_recordings(folder, "stand") if one.sidecar.level_db_spl == 96.0]
    assert mended.files.audio_path.read_bytes() == sound
    assert not before.audio_path.exists()
    assert not before.sidecar_path.exists()
    (kept,) = mended.sidecar.relabelled
    assert (kept.before, kept.reason, kept.stimulus_sha256) == (
        "stand/sweep_86dB",
        "the wrong file",
        sidecar.stimulus_sha256,
    )
    assert mended.sidecar.drive_dbfs == pytest.approx(sidecar.drive_dbfs + 10.0)
    assert mended.sidecar.date == sidecar.date
    said = distort("show", monitor, "harmonics")
    assert "changed since these results were made" in said.err
    said = distort.done("analyze", monitor)
    assert "recordings/stand/sweep_86dB.wav is recordings/stand/sweep_96dB.wav by now: see its sidecar" in said
    assert "is gone" not in said
    read_frozen(folder, "spring-edition")  # raises where anything in it is not as it was frozen
    quality = " ".join(distort.done("show", monitor, "quality").split())
    assert "It was called stand/sweep_86dB before: the wrong file." in quality
    assert "It was called stand/sweep_86dB before" in page(distort, monitor)
    assert "It was called stand/sweep_86dB before" in distort.done(
        "origin", f"{monitor}:stand", "h2", "--hz", "640", "--level", "96"
    )


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("--level", "96", "--stimulus", "multitone"), 1, "It holds the session's sweep"),
        (("--level", "91"), 1, "has no stimulus sweep_91dB (did you mean sweep_96dB?): there are"),
        (("--level", "86"), 2, "stand/sweep_86dB is called so already"),
        (("--condition", "stnd"), 2, "did you mean stand"),
        (("--after",), 2, "--after is about the sweep of the lowest level, 76 dB SPL"),
        ((), 2, "say what it really is"),
    ],
)
def test_a_label_that_cannot_be_right_changes_nothing(distort, monitor, words, status, said) -> None:
    sound, _ = soundfile.read(monitor.parent / "86.wav")
    soundfile.write(monitor.parent / "long.wav", np.pad(sound, (0, 4 * RATE)), RATE, subtype="FLOAT")
    added(distort, monitor, 86, monitor.parent / "long.wav")
    command = ("relabel", monitor, "stand/sweep_86dB", *words, "--reason", "a try")
    assert said in distort.refused(*command, status=status, inside=monitor)


@pytest.mark.sample
def test_a_condition_or_a_repeat_is_mended_likewise(distort, monitor) -> None:
    for level in (76, 86):
        added(distort, monitor, level, level)
    added(distort, monitor, 76, again(monitor, 76))
    names = ("stand/sweep_76dB", "stand/sweep_86dB")
    distort.done("relabel", monitor, *names, "--condition", "desk", "--reason", "mixed up")
    distort.done("relabel", monitor, "stand/sweep_76dB_take2", "--after", "--reason", "it came last")
    distort.done("relabel", monitor, "stand/sweep_76dB_after", "--condition", "desk", "--reason", "mixed up")
    folder = SessionFolder(monitor)
    assert [one.sidecar.name.stem for one in load_recordings(folder, "desk")] == [
        "sweep_76dB",
        "sweep_86dB",
        "sweep_76dB_after",
    ]
    (repeat,) = [one for one in load_recordings(folder, "desk") if one.sidecar.after]
    assert [one.before for one in repeat.sidecar.relabelled] == ["stand/sweep_76dB_take2", "stand/sweep_76dB_after"]
    # a repeat of the lowest level that is none becomes an ordinary take
    distort.done("relabel", monitor, "desk/sweep_76dB_after", "--level", "86", "--reason", "another file")
    assert files_called(folder, "desk/sweep_86dB_take2").has_sidecar


def test_a_kill_while_it_is_renamed_loses_nothing(distort, monitor, monkeypatch) -> None:
    added(distort, monitor, 86, 86)
    monkeypatch.setattr(stored.system, "remove_if_allowed", lambda path: None)
    distort.done("relabel", monitor, "stand/sweep_86dB", "--level", "76", "--reason", "the wrong file")
    assert (monitor / "recordings/stand/sweep_86dB.json").is_file()
    monkeypatch.undo()
    assert "has no recording beside it" not in distort("check", monitor).out
    added(distort, monitor, 86, again(monitor, 86))
    mended, other = load_recordings(SessionFolder(monitor), "stand")
    assert mended.sidecar.drive_dbfs == pytest.approx(other.sidecar.drive_dbfs - 10.0)
    assert mended.samples().size == other.samples().size


def test_a_rejected_file_may_be_added_again(distort, monitor) -> None:
    added(distort, monitor, 86, 96)
    words = ("add", monitor, monitor.parent / "96.wav", "--stimulus", "sweep", "--level", "96", "--condition", "stand")
    assert "is in the session already" in distort.refused(*words, inside=monitor)
    distort.done("reject", monitor, "stand/sweep_86dB", "--reason", "another level")
    refused = distort.refused("relabel", monitor, "stand/sweep_86dB", "--level", "96", "--reason", "x", inside=monitor)
    assert "is rejected (another level): bring its file in again with `distort add`" in refused
    distort.done(*words)
    assert "is in the session already" in distort.refused(*words, inside=monitor)
    with pytest.raises(SessionError, match="has no recording 'stand/sweep_91dB'"):
        files_called(SessionFolder(monitor), "stand/sweep_91dB")


APPLIED = "All recordings were made before the calibration of"
STATED = "that no gain changed in between is the tester&#39;s statement"


@pytest.mark.study
def test_a_calibration_that_came_later_is_told_as_the_testers_statement(distort, monitor) -> None:
    for level in (76, 86):
        added(distort, monitor, level, level)
    refused = distort.refused("calibrate", monitor, "--apply-to-earlier", inside=monitor)
    assert "has no calibration to apply" in refused
    distort.done("freeze", monitor, "first")
    said = distort.done("calibrate", monitor, "--spl", "94", "--from", monitor.parent / "calibrator.wav")
    hint = f"distort calibrate {monitor} --apply-to-earlier"
    assert f"2 recordings came before it, without a calibration. If no gain changed since, say so: {hint}" in said
    assert f"if no gain changed since, say so: {hint}" in distort("check", monitor).out
    assert f"say so with '{hint}'" in distort.done("analyze", monitor)
    added(distort, monitor, 96, 96)
    assert f"say so with `{hint}`" in distort.refused("analyze", monitor, inside=monitor)
    distort.done("relabel", monitor, "stand/sweep_96dB", "--condition", "desk", "--reason", "mixed up")
    before = load_recordings(SessionFolder(monitor), "desk")[0].sidecar
    said = distort.done("calibrate", monitor, "--apply-to-earlier")
    assert "applied to 2 recordings made before it: stand/sweep_76dB, stand/sweep_86dB. By this you state" in said
    assert "what was frozen as first" in said
    assert load_recordings(SessionFolder(monitor), "desk")[0].sidecar == before  # it had its own
    for one in load_recordings(SessionFolder(monitor), "stand"):
        assert one.sidecar.calibration == before.calibration
        assert one.sidecar.applied_afterwards is not None
    assert "Uncalibrated" not in distort("check", monitor).out
    assert APPLIED in distort.done("analyze", monitor)
    assert APPLIED in distort.done("show", monitor, "response")
    assert "Its calibration was read afterwards" in " ".join(distort.done("show", monitor, "quality").split())
    told = page(distort, monitor)
    assert f"Condition stand: {APPLIED}" in told
    assert told.count(STATED) == 2  # at its top and beside the calibration
    findings = json.loads((monitor / "results/stand/findings.json").read_text(encoding="utf-8"))
    assert findings["levels"][0]["unit"] == "db_spl"
    assert "--apply-to-earlier" in methods_text()
    assert "has a calibration already" in distort.done("calibrate", monitor, "--apply-to-earlier")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "say with --spl what the calibrator gives"),
        (("--apply-to-earlier", "--from", "c.wav"), "alone reads no calibrator"),
        (("--apply-to-earlier", "--spl", "94", "--from", "c.wav", "--post-check"), "leave --apply-to-earlier out"),
    ],
)
def test_words_of_a_calibration_that_do_not_fit(distort, monitor, words, said) -> None:
    assert said in distort.refused("calibrate", monitor, *words, status=2, inside=monitor)


def test_both_at_once_calibrates_and_applies(distort, monitor) -> None:
    added(distort, monitor, 76, 76)
    cal = monitor.parent / "calibrator.wav"
    said = distort.done("calibrate", monitor, "--spl", "94", "--from", cal, "--apply-to-earlier")
    assert "full scale stands for 114.0 dB SPL" in said
    assert "applied to 1 recording made before it: stand/sweep_76dB." in said
    assert contents(monitor)  # nothing of it stands in the way of another run
