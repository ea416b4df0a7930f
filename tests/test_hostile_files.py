"""Spoilt files of every kind: a refusal in a sentence or a sane answer; no traceback, no hang, no runaway memory.

1,060 in the ordinary run; `pytest -m study -s tests/test_hostile_files.py` does 23,700. A failure names
the seed of its case.
"""

import random
import resource
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.errors import DistortError
from distort.recording.alignment.prepared import prepare
from distort.recording.quality.examined import examine
from distort.session.audio.audio_file import read_audio
from distort.session.audio.resampling import resample
from distort.session.calibration.calibration_file import read_calibration
from distort.session.calibration.drive_file import read_sensitivity
from distort.session.calibration.reference_responses import read_microphone
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.recordings.sidecar import read_stimulus_sidecar
from distort.session.recordings.stimulus_files import drives_dbfs, planned
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import read_results
from signals.errors import SignalError
from tests.clumsy_session import AS_THE_SWEEP, RATE, heard, shorten
from tests.mutations import bytes_of, document, lines, table

LONGEST_S = 10.0
MOST_GROWTH_MB = 600
"""Of the largest amount of memory held while the cases run. The largest thing that a description may ask for is a
multitone's peak, 0.5 GB (signals.multitone); files here are small."""

STUDY = pytest.mark.study


@pytest.fixture(scope="module")
def session(tmp_path_factory) -> Path:
    """A session with everything in it, quick to read: it may be spoilt, each case mends what it spoils."""
    from distort.__main__ import main

    place = tmp_path_factory.mktemp("hostile")
    root = place / "monitor"
    assert main(["new", str(root), "--levels", "86"]) == 0
    shorten(root, seconds="1.6", orders="4")
    (root / "calibration").mkdir()
    (root / "calibration/microphone.txt").write_text("".join(f"{10 * 1.5**n:.1f}\t{n / 10}\t{n}\n" for n in range(20)))
    plan = root / "session.toml"
    text = plan.read_text(encoding="utf-8").replace("# response_file = ", "response_file = ")
    plan.write_text(text.replace("# response_is = ", "response_is = "), encoding="utf-8")
    assert main(["stimuli", str(root)]) == 0
    tone = 0.03 * np.sin(2.0 * np.pi * 1000.0 * np.arange(4 * RATE) / RATE)
    soundfile.write(place / "calibrator.wav", tone, RATE, subtype="FLOAT")
    assert main(["calibrate", str(root), "--spl", "94", "--from", str(place / "calibrator.wav")]) == 0
    soundfile.write(place / "take.wav", heard(root / "stimuli/sweep_86dB.wav"), RATE, subtype="PCM_24")
    assert main(["add", str(root), str(place / "take.wav"), *AS_THE_SWEEP]) == 0
    assert main(["analyze", str(root)]) == 0
    return root


@pytest.fixture(scope="module")
def sounds(tmp_path_factory) -> dict[str, bytes]:
    """Small audio files of every kind that is read, and two that are not."""
    place = tmp_path_factory.mktemp("sounds")
    samples = 0.1 * np.random.default_rng(1).standard_normal((300, 2))
    made = {}
    for container, subtype in (
        *(("WAV", subtype) for subtype in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "PCM_U8")),
        *(("WAVEX", "PCM_24"), ("RF64", "PCM_24"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("AIFF", "PCM_16")),
    ):
        path = place / f"{container}_{subtype}"
        soundfile.write(path, samples, RATE, format=container, subtype=subtype)
        made[path.name] = path.read_bytes()
    return made


def held_mb() -> float:
    """The most memory that this process has ever held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def attack(cases: int, kind: str, case: Callable[[random.Random], None], *, least_refused: float = 0.1) -> None:
    """Run cases of seeds 0, 1, ...: each may end well or in a refusal of ours, soon, and without much memory."""
    before_mb, refused = held_mb(), 0
    for seed in range(cases):
        started = time.process_time()
        try:
            case(random.Random(f"{kind} {seed}"))
        except (DistortError, SignalError) as error:
            refused += bool(str(error).strip())
        except Exception as error:
            raise AssertionError(f"{kind}, seed {seed}: {type(error).__name__}: {error}") from error
        # of the processor's time: how busy the machine is otherwise does not count
        assert time.process_time() - started < LONGEST_S, f"{kind}, seed {seed} hangs"
        assert held_mb() - before_mb < MOST_GROWTH_MB, f"{kind}, seed {seed} takes {held_mb() - before_mb:.0f} MB"
    print(f"\n{kind}: {cases} cases, {refused} refused, {held_mb() - before_mb:.0f} MB more held")
    assert refused >= cases * least_refused, "hardly any file was spoilt"


@pytest.mark.parametrize("cases", [380, pytest.param(8000, marks=STUDY)])
def test_audio(sounds, tmp_path, cases) -> None:
    path = tmp_path / "take.wav"
    kinds = sorted(sounds)

    def case(chance: random.Random) -> None:
        path.write_bytes(bytes_of(chance, sounds[chance.choice(kinds)]))
        samples, rate = read_audio(path, channel=chance.choice([1, 2]))
        assert samples.size < 2000
        assert np.all(np.isfinite(samples))
        at_rate = resample(samples, from_rate=rate, to_rate=RATE)
        assert np.all(np.isfinite(at_rate))

    attack(cases, "audio", case)


@pytest.mark.sample
@pytest.mark.parametrize("cases", [150, pytest.param(4000, marks=STUDY)])
def test_sidecars(session, cases) -> None:
    """Read, and the recording made ready with it, as every analysis begins."""
    path = session / "recordings/default/sweep_86dB.json"
    good = path.read_text(encoding="utf-8")

    def case(chance: random.Random) -> None:
        path.write_text(document(chance, good), encoding="utf-8", errors="replace")
        (recording,) = load_recordings(SessionFolder(session), "default")
        prepared = prepare(recording)
        assert np.all(np.isfinite(prepared.samples))

    try:
        attack(cases, "sidecar", case)
    finally:
        path.write_text(good, encoding="utf-8")


@pytest.mark.parametrize("cases", [200, pytest.param(4000, marks=STUDY)])
def test_descriptions_of_stimuli_calibrations_drives_and_findings(session, tmp_path, cases) -> None:
    readers: dict[Path, Callable[[Path], object]] = {
        session / "stimuli/sweep_86dB.json": read_stimulus_sidecar,
        session / "stimuli/multitone_86dB.json": read_stimulus_sidecar,
        session / "calibration/microphone.json": read_calibration,
    }
    good = {path: path.read_text(encoding="utf-8") for path in readers}
    drive = (Path(__file__).parents[1] / "demo_recordings/calibration/drive.json").read_text(encoding="utf-8")
    findings = session / "results/default/findings.json"
    good_findings = findings.read_text(encoding="utf-8")

    def case(chance: random.Random) -> None:
        which = chance.randrange(5)
        path = tmp_path / "spoilt.json"
        if which < 3:
            original = list(readers)[which]
            path.write_text(document(chance, good[original]), encoding="utf-8", errors="replace")
            readers[original](path)
        elif which == 3:
            path.write_text(document(chance, drive), encoding="utf-8", errors="replace")
            sensitivity = read_sensitivity(path)
            assert sensitivity is not None
            planned(read_plan(session), drives_dbfs(read_plan(session), sensitivity))
        else:
            findings.write_text(document(chance, good_findings), encoding="utf-8", errors="replace")
            read_results(SessionFolder(session), "default")

    try:
        attack(cases, "description", case)
    finally:
        findings.write_text(good_findings, encoding="utf-8")


@pytest.mark.parametrize("cases", [150, pytest.param(3000, marks=STUDY)])
def test_plans(session, cases) -> None:
    """Read, and the stimuli that it asks for described."""
    path = session / "session.toml"
    good = path.read_bytes()

    def case(chance: random.Random) -> None:
        path.write_bytes(lines(chance, good.decode()))
        plan = read_plan(session)
        for item in planned(plan, drives_dbfs(plan, None)):
            assert item.reel.n_samples > 0

    try:
        attack(cases, "plan", case)
    finally:
        path.write_bytes(good)


@pytest.mark.parametrize("cases", [100, pytest.param(2000, marks=STUDY)])
def test_microphone_files(session, cases) -> None:
    path = session / "calibration/microphone.txt"
    good = path.read_bytes()
    plan = read_plan(session)

    def case(chance: random.Random) -> None:
        path.write_bytes(lines(chance, good.decode()))
        microphone = read_microphone(SessionFolder(session), plan)
        assert microphone is not None
        assert np.all(np.isfinite(microphone.response.level_db))

    try:
        attack(cases, "microphone", case)
    finally:
        path.write_bytes(good)


@pytest.mark.sample
@pytest.mark.parametrize("cases", [60, pytest.param(2000, marks=STUDY)])
def test_tables_of_results(session, capsys, cases) -> None:
    """A table that somebody edited by hand, or another program cut: each way of showing it."""
    from distort.__main__ import main

    tables = {path: path.read_text(encoding="utf-8") for path in sorted(session.glob("results/default/*.csv"))}
    assert len(tables) == 3
    origin = ["origin", str(session), "h2", "--hz", "640", "--level", "86"]
    commands = [*(["show", str(session), what] for what in ("response", "harmonics", "impulsive")), origin]

    def case(chance: random.Random) -> None:
        path = chance.choice(list(tables))
        path.write_bytes(table(chance, tables[path]))
        capsys.readouterr()
        status = main(chance.choice(commands))
        said = capsys.readouterr().err
        path.write_text(tables[path], encoding="utf-8")
        assert "fault in this program" not in said, said
        assert all(len(line) < 400 for line in said.replace(str(session), "").splitlines()), said
        if status == 1:
            raise DistortError(said)

    attack(cases, "table", case, least_refused=0.5)


@pytest.mark.sample
@pytest.mark.parametrize("cases", [12, pytest.param(400, marks=STUDY)])
def test_whole_commands_on_spoilt_sessions(session, tmp_path, capsys, cases) -> None:
    """Any file of the session spoilt, then a command as a user types it: its status, and a sentence where it fails."""
    from distort.__main__ import main

    files = [path.relative_to(session) for path in sorted(session.rglob("*")) if path.is_file()]
    files = [path for path in files if path.suffix in {".json", ".toml", ".wav", ".csv", ".txt"}]
    commands = (["analyze"], ["check"], ["show", "quality"], ["show", "harmonics"], ["show", "response"])
    folder = tmp_path / "monitor"

    def case(chance: random.Random) -> None:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(session, folder)
        file = folder / chance.choice(files)
        if file.suffix == ".json":
            file.write_text(document(chance, file.read_text(encoding="utf-8")), encoding="utf-8", errors="replace")
        else:
            file.write_bytes(bytes_of(chance, file.read_bytes()))
        command = chance.choice(commands)
        capsys.readouterr()
        status = main([command[0], str(folder), *command[1:]])
        said = capsys.readouterr()
        assert status in (0, 1, 2)
        assert "fault in this program" not in said.err, said.err
        assert "Traceback" not in said.err
        if status == 1 and command != ["check"]:
            raise DistortError(said.err)

    attack(cases, "command", case, least_refused=0.0)  # most commands do not read most files


@pytest.mark.sample
@pytest.mark.parametrize("cases", [8, pytest.param(300, marks=STUDY)])
def test_examining_any_sound(session, cases) -> None:
    """What is heard may be anything: offsets, steps, denormals, silence, full scale, another stimulus."""
    reel = read_stimulus_sidecar(session / "stimuli/sweep_86dB.json").reel
    good = heard(session / "stimuli/sweep_86dB.wav")

    def case(chance: random.Random) -> None:
        samples = good.copy()
        first = chance.randrange(samples.size)
        part = slice(first, first + chance.randrange(1, samples.size))
        match chance.randrange(6):
            case 0:
                samples[part] = chance.choice([0.0, 1.0, -1.0, 5e-324, 1e300])
            case 1:
                samples *= chance.choice([1e-300, 1e-9, 30.0, 1e150, -1.0])
            case 2:
                samples = samples[part]
            case 3:
                samples = samples[::-1]
            case 4:
                samples[part] = np.random.default_rng(first).standard_normal(samples[part].size)
            case _:
                samples = np.concatenate([samples[part], samples])
        examine(samples, reel, what="it", as_stored=samples, stated_hz=RATE)

    attack(cases, "sound", case)
