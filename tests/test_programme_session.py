"""Music through a whole session: plan, measure, check, add, analyse, show."""

import json

import numpy as np
import pytest
import soundfile

from distort.capture.measuring import loud_programme
from distort.capture.measuring.completeness import check_session
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.session.files.folder import SessionFolder
from distort.session.plan.kinds import programme_headroom_dbfs, programme_stimulus
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import read_results
from signals.programme import Programme
from tests.clumsy_session import RATE, CommandLine
from tests.devices.scaled import ScaledLoudspeaker
from tests.session_on_a_wire import session_on_a_wire

MUSIC = "\n[programme]\nseconds = 4\n"


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    """70 and 82 dB SPL, short stimuli, two bars of music, a calibrated wire."""
    return session_on_a_wire(tmp_path / "monitor", distort, section=MUSIC)


@pytest.mark.sample
def test_music_is_recorded_checked_analysed_and_shown(folder, distort) -> None:
    """A wire that gives 1 dB less above a peak of -30 dBFS: at 82 dB SPL the sweep's is -38, the music's -26."""
    device = ScaledLoudspeaker(change_db=lambda peak_dbfs: -1.0 if peak_dbfs > -30.0 else 0.0)
    plan = read_plan(folder.root)
    done = measure(folder, plan, device, Choice(condition="default"), progress=lambda what, done, total: None)
    stems = [one.sidecar.name.stem for one in done.recordings]
    assert stems == [f"{name}_{level}dB" for level in (70, 82) for name in ("sweep", "multitone", "programme")]
    recording = next(one for one in load_recordings(folder, "default") if one.sidecar.name.stem == "programme_82dB")
    assert recording.sidecar.stimulus == programme_stimulus(plan, drive_dbfs=recording.sidecar.drive_dbfs)
    assert [one.name for one in recording.sidecar.quality.checks if one.verdict != "good"] == ["channel"]
    assert check_session(folder, plan).complete
    assert "|programme|" in distort.done("analyze", folder.root)
    (level,) = read_results(folder, "default").further["programme"].levels
    assert level.level_db_spl == 82.0
    # in the lowest band noise 60 dB below the music stands for 0.01 dB
    np.testing.assert_allclose(level.change_db, -1.0, atol=0.02)
    assert np.all(level.coherence > 0.99)
    said = distort.done("show", folder.root, "programme")
    assert "The music comes out as it should up to 82 dB SPL, the highest level that was played" in said
    (document,) = json.loads(distort.done("show", folder.root, "programme", "--json"))
    assert document["columns"]["change_db_82dB"] == pytest.approx([-1.0] * level.change_db.size, abs=0.02)
    distort.done("reject", folder.root, "default/programme_82dB", "--reason", "somebody coughed")
    distort.done("analyze", folder.root)
    assert "at one level alone" in distort.done("show", folder.root, "programme")


@pytest.mark.sample
def test_a_recording_of_music_is_brought_in(folder, distort, tmp_path) -> None:
    distort.done("stimuli", folder.root)
    played, rate = soundfile.read(folder.root / "stimuli/programme_70dB.wav")
    heard = np.pad(0.5 * played, (rate, rate)) + 1e-6 * np.random.default_rng(3).standard_normal(played.size + 2 * rate)
    soundfile.write(tmp_path / "take.wav", heard, rate, subtype="FLOAT")
    words = ("--stimulus", "programme", "--level", "70", "--playback-change-db", "0")
    distort.done("add", folder.root, tmp_path / "take.wav", *words)
    (recording,) = load_recordings(folder, "default")
    assert isinstance(recording.sidecar.stimulus, Programme)


def test_a_plan_without_the_section_plays_none_and_its_peak_leaves_headroom() -> None:
    """0.1 dB below full scale, where the piece is made to the same peak."""
    text = plan_text(name="Monitor A", levels_db_spl=(70.0, 82.0))
    assert programme_stimulus(plan_from_text(text, source="session.toml"), drive_dbfs=-60.0) is None
    plan = plan_from_text(text + MUSIC, source="session.toml")
    highest_dbfs = programme_headroom_dbfs(plan)
    piece = programme_stimulus(plan, drive_dbfs=highest_dbfs)
    assert piece is not None
    assert np.max(np.abs(piece.samples())) == pytest.approx(10.0 ** (-0.1 / 20.0), rel=1e-9)


@pytest.mark.sample
def test_the_phase_of_a_loudspeaker_moves_no_peak_by_more_than_is_allowed_for() -> None:
    """200 loudspeakers of one to four all-passes of second order, as crossovers and boxes are."""
    piece = Programme(sample_rate=RATE, seconds=2.0)
    played = piece.samples()
    spectrum = np.fft.rfft(played, 2 * played.size)
    frequency_hz = np.fft.rfftfreq(2 * played.size, 1.0 / RATE)
    random = np.random.default_rng(1)
    allowed = np.max(np.abs(played)) * 10.0 ** (loud_programme.CREST_DB / 20.0)
    for _ in range(200):
        phase = np.ones(frequency_hz.size, dtype=np.complex128)
        for _ in range(random.integers(1, 5)):
            s, q = 1j * frequency_hz / 10.0 ** random.uniform(1.5, 3.8), 10.0 ** random.uniform(-0.5, 0.5)
            phase *= (s * s - s / q + 1.0) / (s * s + s / q + 1.0)
        assert np.max(np.abs(np.fft.irfft(spectrum * phase))) < allowed


def test_nor_does_a_room() -> None:
    """40 of direct sound and a tail of noise of about its energy, 0.2 to 0.6 s, whose response is known over 1/6 octave
    as the quiet run knows it."""
    piece = Programme(sample_rate=RATE, seconds=2.0)
    random = np.random.default_rng(2)
    n_fft = 2 * piece.n_samples
    spectrum = np.fft.rfft(piece.samples(), n_fft)
    rows = np.arange(spectrum.size)
    first = np.floor(rows * 2.0 ** (-1.0 / 12.0)).astype(int)
    end = np.minimum(np.ceil(rows * 2.0 ** (1.0 / 12.0)).astype(int) + 1, rows.size)
    for _ in range(40):
        n = int(random.uniform(0.2, 0.6) * RATE)
        tail = random.standard_normal(n) * np.exp(-np.log(1000.0) * np.arange(n) / n)
        tail[: round(0.003 * RATE)] = 0.0
        impulse = np.append(1.0, tail * 10.0 ** (random.uniform(-6.0, 6.0) / 20.0) / np.sqrt(np.sum(np.square(tail))))
        response = np.fft.rfft(impulse, n_fft)
        running = np.concatenate([[0.0], np.cumsum(np.square(np.abs(response)))])
        smoothed = np.sqrt((running[end] - running[first]) / (end - first))
        expected = np.max(np.abs(np.fft.irfft(spectrum * smoothed)))
        allowed = expected * 10.0 ** (loud_programme.CREST_DB / 20.0)
        assert np.max(np.abs(np.fft.irfft(spectrum * response))) < allowed
