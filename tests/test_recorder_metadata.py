"""Names, places and notes in what is brought in go nowhere: not into the session, nor into what leaves it.

Every place for words in the files holds a mark (tests/recorder_files.py), and so do the names of files and folders.
"""

import hashlib
import io
import json
import shutil
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.published.carried import still_carrying
from distort.session.recordings.reel_file import session_reels
from distort.session.recordings.sampled_stimuli import keep_stimulus_file
from distort.session.recordings.sidecar import read_sidecar
from distort.session.recordings.stored import load_recordings
from distort.session.results.comparison_files import KEYS
from distort.session.results.inputs import input_names
from tests.blank_figures import unmade_figures
from tests.clumsy_session import AS_THE_SWEEP, RATE, CommandLine, contents, heard, shorten
from tests.made_reels import Recorder, record
from tests.recorder_files import BEGAN, MARK, MARKS, write_flac, write_wav

pytest_plugins = ["tests.clumsy_fixtures"]

WRITERS = {"wav": write_wav, "flac": write_flac}


@pytest.fixture
def private(tmp_path) -> Path:
    """A folder whose name is nobody's business."""
    folder = tmp_path / f"{MARK} home"
    folder.mkdir()
    return folder


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def marked(files: dict[str, bytes]) -> list[str]:
    """Names of files in which a mark stands, in any spelling, or that are called by it; archives are looked into."""
    found = []
    for name, content in files.items():
        if name.endswith(".zip"):
            found += marked(unpacked(content))
        elif MARK in name or any(mark in content or mark.lower() in content for mark in MARKS):
            found.append(name)
    return found


def unpacked(archive: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


@pytest.mark.sample
def test_nothing_of_it_is_in_session_page_or_bundle(distort, session, private, good, tmp_path) -> None:
    takes = {
        "sweep_86dB": write_wav(private / f"{MARK} take (1).wav", good, RATE),
        "sweep_86dB_take2": write_flac(private / f"{MARK} take (2).flac", 0.99 * good, RATE),
    }
    for take in takes.values():
        assert marked({"take": take.read_bytes()}) == ["take"]
        said = distort.done("add", session, take, *AS_THE_SWEEP)
        assert f"Recorded {BEGAN} by the recorder's own clock" in said
    distort.done("analyze", session)
    with unmade_figures():
        distort.done("report", session)
    distort.done("freeze", session, "spring-edition")
    bundle = tmp_path / "check.zip"
    assert "notes of a recorder" not in distort.done("bundle", session, "--to", bundle)
    assert marked(contents(session)) == []
    assert marked({bundle.name: bundle.read_bytes()}) == []
    assert len(unpacked(bundle.read_bytes())) > 10
    for recording in load_recordings(SessionFolder(session), "default"):
        take, stored, sidecar = takes[recording.sidecar.name.stem], recording.files.audio_path, recording.sidecar
        assert sidecar.device == "recorded elsewhere"
        assert sidecar.original is not None
        assert (sidecar.original.sha256, sidecar.original.began) == (sha256(take), BEGAN)
        assert sidecar.original.kept is False
        assert (stored.suffix, sidecar.recording_sha256) == (take.suffix, sha256(stored))
        assert np.array_equal(soundfile.read(stored, dtype="int32")[0], soundfile.read(take, dtype="int32")[0])


@pytest.mark.first(1)
@pytest.mark.parametrize("kind", WRITERS)
def test_what_is_asked_for_is_kept_and_told(distort, session, private, good, tmp_path, kind) -> None:
    take = WRITERS[kind](private / f"{MARK} take.{kind}", good, RATE)
    distort.done("add", session, take, *AS_THE_SWEEP, "--keep-metadata")
    stored = session / f"recordings/default/sweep_86dB.{kind}"
    assert stored.read_bytes() == take.read_bytes()
    sidecar = read_sidecar(stored.with_suffix(".json"))
    assert sidecar.device == f"recorded elsewhere ({take.name})"
    assert sidecar.original is not None
    assert (sidecar.original.sha256, sidecar.original.kept) == (sidecar.recording_sha256, True)
    distort.done("analyze", session)
    said = distort.done("bundle", session, "--to", tmp_path / "check.zip")
    assert (
        f"Careful: 1 of them still carries notes of a recorder or the name of the file that was brought in "
        f"(recordings/default/sweep_86dB.{kind})" in said
    )
    assert marked({name: what for name, what in contents(session).items() if name.startswith("results")}) == []


def test_the_same_file_is_told_however_it_was_brought_in(distort, session, private, good) -> None:
    take = write_wav(private / "take.wav", good, RATE)
    distort.done("add", session, take, *AS_THE_SWEEP)
    again = Path(shutil.copy(take, private / "under another name.wav"))
    for file in (take, again, session / "recordings/default/sweep_86dB.wav"):
        for words in ((), ("--keep-metadata",), ("--playback-change-db", "0")):
            said = distort.refused("add", session, file, *AS_THE_SWEEP, *words, inside=session)
            assert "is in the session already, as" in said


def test_a_file_that_an_older_version_brought_in_is_told_as_well(distort, session, private, good) -> None:
    take = write_wav(private / "take.wav", good, RATE)
    older(distort, session, take)
    assert "is in the session already" in distort.refused("add", session, take, *AS_THE_SWEEP, inside=session)


def older(distort: CommandLine, session: Path, take: Path) -> Path:
    """Bring `take` in as versions did that knew none of this: byte for byte, its name in the sidecar, no new keys."""
    distort.done("add", session, take, *AS_THE_SWEEP, "--keep-metadata")
    path = session / "recordings/default/sweep_86dB.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    del document["original"], document["stimulus_original_sha256"]
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


@pytest.mark.study
def test_what_a_session_holds_is_never_rewritten_and_told(distort, session, private, good, tmp_path) -> None:
    take = write_wav(private / f"{MARK}.wav", good, RATE)
    sidecar = older(distort, session, take)
    before = {name: what for name, what in contents(session).items() if name.startswith("recordings")}
    louder = write_flac(private / "again.flac", 0.9 * good, RATE)
    distort.done("add", session, louder, *AS_THE_SWEEP)
    distort.done("analyze", session)
    distort.done("freeze", session, "spring-edition")
    said = distort.done("bundle", session, "--to", tmp_path / "check.zip")
    assert "Careful: 2 of them still carry notes" in said
    assert (
        "(frozen/spring-edition/inputs/recordings/default/sweep_86dB.json, recordings/default/sweep_86dB.wav)" in said
    )
    assert "bring the originals in once more, into a new session" in said
    assert {name: contents(session)[name] for name in before} == before
    assert read_sidecar(sidecar).original is None


@pytest.mark.sample
def test_words_of_an_older_comparison_lose_the_names_on_the_page(distort, session, private, good, tmp_path) -> None:
    """Names stood in what a comparison said was unlike, and so in the page that was made of it."""
    older(distort, session, write_wav(private / "take.wav", good, RATE))
    distort.done("analyze", session)
    words = f"  player and recorder: recorded elsewhere ({MARK} (1).wav) in A, recorded elsewhere ({MARK}.wav) in B"
    compare = session / "results/compare"
    compare.mkdir()
    older_document = dict.fromkeys(KEYS) | {"words": {"heading": "A and B", "alike": [words]}}
    (compare / "a__b.json").write_text(json.dumps(older_document))
    with unmade_figures():
        distort.done("report", session)
    page = (session / "results/report.html").read_text(encoding="utf-8")
    assert "player and recorder: recorded elsewhere in A, recorded elsewhere in B" in page
    assert MARK not in page
    (session / "results/report.html").write_text(f"<p>{words}</p>", encoding="utf-8")
    said = distort("bundle", session, "--to", tmp_path / "check.zip")
    assert said.status == 0
    assert "recordings/default/sweep_86dB.wav" in said.out
    assert "results/report.html may not be as it was written" in said.err
    with zipfile.ZipFile(tmp_path / "check.zip") as archive:  # a page that was changed since it was written stays out
        assert not any(name.endswith("report.html") for name in archive.namelist())


@pytest.mark.study
def test_a_comparison_does_not_say_the_name(distort, session, private, good) -> None:
    shorten(session, short="true", orders="4", conditions='["stand", "desk"]')
    older_file = write_wav(private / f"{MARK}.wav", good, RATE)
    distort.done("add", session, older_file, *AS_THE_SWEEP, "--condition", "stand", "--keep-metadata")
    distort.done("add", session, write_wav(private / "b.wav", 0.9 * good, RATE), *AS_THE_SWEEP, "--condition", "desk")
    distort.done("analyze", session)
    said = distort.done("compare", f"{session}:stand", f"{session}:desk")
    assert "player and recorder" not in said
    assert marked({name: what for name, what in contents(session).items() if name.startswith("results")}) == []


def test_a_calibrator_before_and_after_the_work(distort, session, private) -> None:
    tone = 0.03 * np.sin(2.0 * np.pi * 1000.0 * np.arange(4 * RATE) / RATE)
    for words in ((), ("--post-check",)):
        take = write_wav(private / f"{MARK} {len(words)}.wav", tone, RATE)
        distort.done("calibrate", session, "--spl", "94", "--from", take, *words)
        file = session / f"calibration/{'closing' if words else 'microphone'}.json"
        document = json.loads(file.read_text(encoding="utf-8"))
        calibration = document["closing"] if words else document
        assert calibration["original"]["sha256"] == sha256(take)
        assert calibration["original"]["began"] == BEGAN
        assert calibration["sha256"] == sha256(session / calibration["file"])
        stored = soundfile.read(session / calibration["file"], dtype="int32")[0]
        assert np.array_equal(stored, soundfile.read(take, dtype="int32")[0])
    assert marked(contents(session)) == []
    kept = write_wav(private / f"{MARK} kept.wav", tone, RATE)
    distort.done("calibrate", session, "--spl", "94", "--from", kept, "--keep-metadata", "--replace")
    assert (session / "calibration/calibrator_94dB_2.wav").read_bytes() == kept.read_bytes()
    assert kept.name in (session / "calibration/microphone.json").read_text(encoding="utf-8")
    said = distort.refused("calibrate", session, "--spl", "94", "--keep-metadata", status=2, inside=session)
    assert "--keep-metadata is about a file" in said


@pytest.mark.sample
def test_a_sweep_made_elsewhere(distort, tmp_path, private) -> None:
    """Both files: what was played, and what was heard. One file of what was played serves all that was heard of it."""
    session = tmp_path / "monitor"
    distort.done("new", session, "--levels", "86", "--name", "Monitor A")
    shorten(session)
    time_s = np.arange(4 * RATE) / RATE
    chirp = 0.3 * scipy.signal.chirp(time_s, 20.0, 4.0, 20000.0, method="logarithmic", phi=-90.0)
    chirp[: RATE // 20] *= np.linspace(0.0, 1.0, RATE // 20)
    chirp[-RATE // 20 :] *= np.linspace(1.0, 0.0, RATE // 20)
    sweep = write_wav(private / f"{MARK} sweep.wav", np.pad(chirp, RATE), RATE)
    played, _ = soundfile.read(sweep)
    for gain in (1.0, 0.9):
        noise = 1e-6 * np.random.default_rng(1).standard_normal(played.size + 2 * RATE)
        take = write_flac(private / f"{MARK} {gain}.flac", gain * np.pad(played, RATE) + noise, RATE)
        distort.done("add", session, take, "--stimulus-file", sweep, "--level", "86")
    assert marked(contents(session)) == []
    (kept,) = (session / "stimuli").glob("made-elsewhere_*")
    assert np.array_equal(soundfile.read(kept)[0], played)
    for recording in load_recordings(SessionFolder(session), "default"):
        assert recording.sidecar.stimulus_sha256 == sha256(kept)
        assert recording.sidecar.stimulus_original_sha256 == sha256(sweep)
    distort.done("analyze", session)
    assert marked(contents(session)) == []


def test_a_sweep_that_an_older_version_kept_is_used_as_it_is(distort, tmp_path, private) -> None:
    """Its file, byte for byte, is named by its own hash: found again, and not kept a second time."""
    folder = SessionFolder(tmp_path / "monitor")
    sweep = write_wav(private / "sweep.wav", np.zeros(100), RATE)
    there = folder.root / f"stimuli/made-elsewhere_{sha256(sweep)[:16]}.wav"
    there.parent.mkdir(parents=True)
    shutil.copy(sweep, there)
    kept = keep_stimulus_file(folder, sweep)
    assert (kept.sha256, kept.original_sha256) == (sha256(sweep), sha256(sweep))
    assert [path.name for path in there.parent.iterdir()] == [there.name]
    there.unlink()
    assert keep_stimulus_file(folder, sweep, keep_metadata=True) == kept
    assert there.read_bytes() == sweep.read_bytes()


@pytest.mark.sample
def test_a_reel(distort, tmp_path, private) -> None:
    """Its parts begin, by the recorder's clock, as much later as they lie later in the file."""
    session = tmp_path / "monitor"
    distort.done("new", session, "--levels", "86", "--name", "Monitor A")
    shorten(session, rest_s="5")
    distort.done("stimuli", session, "--reel", "--up-to", "86")
    (reel,) = session_reels(SessionFolder(session))
    sound = record(reel, Recorder(delay_s=3.0))
    take = write_flac(private / f"{MARK} reel.flac", 0.5 * sound, RATE)
    distort("add", session, "--reel", take)  # the multitone is silent in it, and refused
    assert marked(contents(session)) == []
    (sweep, *_) = load_recordings(SessionFolder(session), "default")
    assert sweep.sidecar.device == f"recorded elsewhere (the reel {reel.stem}, SHA-256 {sha256(take)[:16]})"
    original = sweep.sidecar.original
    assert original is not None
    assert original.sha256 == sha256(take)
    part = next(one for one in reel.parts if one.name == sweep.sidecar.name)
    # 3 s before the reel; 0.25 s of silence is cut along before each part
    later_s = 3.0 + reel.part_start(part) / RATE - 0.25
    began_s = datetime.fromisoformat(BEGAN).replace(tzinfo=UTC).timestamp()
    assert original.began_s == pytest.approx(began_s + later_s, abs=0.002)  # written to the millisecond


def test_a_file_that_is_not_called_as_audio_usually_is(distort, session, private, good) -> None:
    take = write_wav(private / "take.wav", good, RATE).rename(private / "TAKE.BWF")
    distort.done("add", session, take, *AS_THE_SWEEP)
    assert (session / "recordings/default/sweep_86dB.wav").is_file()


def test_a_form_that_is_not_read_is_refused_and_leaves_nothing(distort, session, private, good) -> None:
    """BW64 (ITU-R BS.2088) has the letters of its form alone in other than RF64; the library does not know them."""
    take = write_wav(private / "take.wav", good, RATE)
    take.write_bytes(b"BW64" + take.read_bytes()[4:])
    assert "export it as WAV" in distort.refused("add", session, take, *AS_THE_SWEEP, inside=session)


def test_the_demo_carries_nothing() -> None:
    folder = SessionFolder(Path(__file__).parents[1] / "demo_recordings")
    names = input_names(folder, read_plan(folder.root))
    assert len(names) > 50
    assert still_carrying(folder, names) == ()


def test_what_this_program_writes_carries_nothing(distort, session, private) -> None:
    """Floating point, to which the library adds the largest sample and when it was written, and FLAC with padding."""
    folder = SessionFolder(session)
    take = write_wav(private / "take.wav", heard(session / "stimuli/sweep_86dB.wav"), RATE, "FLOAT")
    distort.done("add", session, take, *AS_THE_SWEEP)
    for name in ("a.wav", "b.flac"):
        subtype = "FLOAT" if name.endswith("wav") else "PCM_24"
        soundfile.write(session / name, 0.1 * np.ones(100), RATE, subtype=subtype)
    names = ["recordings/default/sweep_86dB.wav", "recordings/default/sweep_86dB.json", "a.wav", "b.flac"]
    assert still_carrying(folder, names) == ()
