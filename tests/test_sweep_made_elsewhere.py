"""Sweeps that other programs made: fitted from their files, refused when they are none, and divided by as played."""

import numpy as np
import pytest
import scipy.signal
import soundfile

from distort.analysis.sweep.sweeps import Reference, Settings, SweepTake, read_sweep, sweep_harmonics
from distort.capture.importing.sweep_fitting import fit_sweep
from distort.errors import RecordingError, SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.published.written_inputs import written_inputs
from distort.session.recordings.stored import load_recordings
from signals import SignalError, Sweep, describe, from_description, held
from tests.clumsy_session import CommandLine, shorten, table

RATE = 48000


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


def chirp(phase_deg=-90.0, *, seconds=4.0, amplitude=0.3, fade_s=0.05):
    """scipy's logarithmic chirp, 20 Hz to 20 kHz, with fades in time: neither synchronised nor faded as ours are."""
    time_s = np.arange(round(seconds * RATE)) / RATE
    sound = amplitude * scipy.signal.chirp(time_s, 20.0, seconds, 20000.0, method="logarithmic", phi=phase_deg)
    n = round(fade_s * RATE)
    fade = 0.5 - 0.5 * np.cos(np.pi * np.arange(n) / n)
    sound[:n] *= fade
    sound[-n:] *= fade[::-1]
    return sound


def filed(phase_deg=-90.0):
    """Between 2 and 3 s of silence, as files of such programs often are."""
    return np.pad(chirp(phase_deg), (2 * RATE, 3 * RATE))


@pytest.mark.parametrize("phase_deg", [-90.0, 0.0, 33.0])
def test_the_numbers_of_a_sweep_are_fitted(phase_deg):
    """L = T / ln(f2 / f1) (Farina, AES 108th Convention, 2000); a sine of amplitude 0.3 has -10.458 dBFS (AES17)."""
    found = fit_sweep(filed(phase_deg), RATE, what="sweep.wav")
    assert found.sweep.rate_s == pytest.approx(4.0 / np.log(1000.0), rel=1e-7)
    assert found.sweep.drive_dbfs == pytest.approx(20.0 * np.log10(0.3), abs=1e-4)
    # where the silence ends is known to a millisecond, in which the frequency grows by 0.2 %
    assert found.sweep.start_hz == pytest.approx(20.0, rel=0.004)
    assert found.sweep.stop_hz == pytest.approx(20000.0, rel=0.004)
    assert found.residual_db < -100.0
    start, _ = found.reel.only_stimulus()
    np.testing.assert_array_equal(found.reel.samples()[start : start + 1000], filed(phase_deg)[start : start + 1000])
    assert found.reel.n_samples == filed().size


def test_our_own_sweep_is_fitted_as_well():
    ours = Sweep(seconds=5.0, drive_dbfs=-12.0)
    found = fit_sweep(ours.samples(), RATE, what="sweep.wav").sweep
    assert found.rate_s == pytest.approx(ours.rate_s, rel=1e-9)
    assert found.drive_dbfs == pytest.approx(-12.0, abs=1e-4)


def test_the_residual_tells_the_rounding_of_the_file():
    """Rounding to 16 bits, steps of 1/N, leaves 1/(N sqrt(12)) r.m.s., against the 0.3/sqrt(2) of the sweep."""
    steps = 2**15
    found = fit_sweep(np.round(filed() * steps) / steps, RATE, what="sweep.wav")
    expected_db = 20.0 * np.log10(1.0 / (steps * np.sqrt(12.0)) / (0.3 / np.sqrt(2.0)))
    assert found.residual_db == pytest.approx(expected_db, abs=1.0)


def sloped():
    return chirp() * np.linspace(1.0, 0.5, 4 * RATE)


TIME_S = np.arange(4 * RATE) / RATE


@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (0.3 * scipy.signal.chirp(TIME_S, 20.0, 4.0, 20000.0), "no exponential sweep"),
        (chirp()[::-1], "falls"),
        (0.1 * np.random.default_rng(1).standard_normal(4 * RATE), "does not rise"),
        (0.1 * np.sin(2.0 * np.pi * 1000.0 * TIME_S), "stay"),
        (np.zeros(RATE), "is silent"),
        (chirp()[: RATE // 50], "that is no sweep"),
        (sloped(), "steady level"),
        (chirp() + 0.2 * chirp() ** 2, "not its recording"),
    ],
    ids=["linear", "falling", "noise", "tone", "silent", "short", "sloped", "recorded"],
)
def test_what_is_no_exponential_sweep_is_refused(samples, why):
    with pytest.raises(RecordingError, match=why):
        fit_sweep(samples, RATE, what="sweep.wav")


def bent(samples):
    """0.3 s + 0.003 (s/0.3)^2 + 0.001 (s/0.3)^3: of a sine of 0.3, harmonics of 0.0015 and 0.00025 beside 0.09075."""
    return 0.3 * samples + 0.003 * (samples / 0.3) ** 2 + 0.001 * (samples / 0.3) ** 3


def test_orders_of_a_sweep_made_elsewhere():
    """Second and third order of the curve in closed form (cos^2, cos^3), 50 Hz to where they reach 15 kHz."""
    found = fit_sweep(filed(33.0), RATE, what="sweep.wav")
    start, _ = found.reel.only_stimulus()
    take = SweepTake(samples=bent(found.reel.samples()), start=float(start))
    orders = sweep_harmonics(read_sweep([take], found.sweep, Settings(orders=3)), Reference())
    hz = orders.frequency_hz
    for order, amplitude in ((2, 0.0015), (3, 0.00025)):
        rows = (hz > 50.0) & (hz < 15000.0 / order)
        expected_db = 20.0 * np.log10(amplitude / 0.09075)
        np.testing.assert_allclose(orders.orders[order - 2].relative_db[rows], expected_db, rtol=0, atol=0.02)


def test_a_sampled_sweep_is_written_down_by_the_hash_of_its_samples(monkeypatch):
    sweep = fit_sweep(filed(), RATE, what="sweep.wav").sweep
    again = from_description(describe(sweep))
    assert again == sweep
    np.testing.assert_array_equal(again.samples(), sweep.samples())
    monkeypatch.setattr(held, "_held", {})
    with pytest.raises(SignalError, match="were not given"):
        again.samples()


@pytest.fixture
def session(tmp_path, distort):
    folder = tmp_path / "monitor"
    distort.done("new", folder, "--levels", "86", "--name", "Monitor A")
    shorten(folder)
    soundfile.write(tmp_path / "sweep.wav", filed(), RATE, subtype="PCM_24")
    heard, _ = soundfile.read(tmp_path / "sweep.wav")
    noise = 1e-6 * np.random.default_rng(1).standard_normal(heard.size + 2 * RATE)
    soundfile.write(tmp_path / "take.wav", np.pad(bent(heard), RATE) + noise, RATE, subtype="FLOAT")
    return folder


@pytest.mark.sample
def test_a_recording_of_it_is_brought_in_and_analysed(distort, session, tmp_path, monkeypatch):
    said = distort.done(
        "add", session, tmp_path / "take.wav", "--stimulus-file", tmp_path / "sweep.wav", "--level", "86"
    )
    assert "an exponential sweep from 20 Hz to 20 kHz in 4.00 s, drive -10.5 dBFS" in said
    monkeypatch.setattr(held, "_held", {})  # as another run of the program finds it
    distort.done("analyze", session)
    harmonics = table(session / "results/default/harmonics_86dB.csv")
    rows = (harmonics["frequency_hz"] > 60.0) & (harmonics["frequency_hz"] < 7000.0)
    expected_db = 20.0 * np.log10(0.0015 / 0.09075)
    np.testing.assert_allclose(harmonics["h2_db"][rows], expected_db, rtol=0, atol=0.03)


def test_its_file_must_stay_as_it_was(distort, session, tmp_path, monkeypatch):
    distort.done("add", session, tmp_path / "take.wav", "--stimulus-file", tmp_path / "sweep.wav", "--level", "86")
    monkeypatch.setattr(held, "_held", {})
    (kept,) = (session / "stimuli").glob("made-elsewhere_*.wav")
    assert kept.read_bytes() == (tmp_path / "sweep.wav").read_bytes()
    soundfile.write(kept, 0.5 * filed(), RATE, subtype="PCM_24")
    (recording,) = load_recordings(SessionFolder(session), "default")
    with pytest.raises(SessionError, match="SHA-256 differs"):
        recording.samples()
    kept.unlink()
    with pytest.raises(SessionError, match="bring back the sweep"):
        recording.samples()


def test_it_is_among_the_inputs_that_are_published(distort, session, tmp_path):
    distort.done("add", session, tmp_path / "take.wav", "--stimulus-file", tmp_path / "sweep.wav", "--level", "86")
    names = [one.file for one in written_inputs(SessionFolder(session), read_plan(session))]
    assert [name for name in names if name.startswith("stimuli/made-elsewhere_")]


def test_words_that_do_not_go_together(distort, session, tmp_path):
    both = ("add", session, "take.wav", "--stimulus", "sweep", "--stimulus-file", "s.wav", "--level", "86")
    assert "or --stimulus-file" in distort.refused(*both, status=2, inside=tmp_path)
    assert "--level" in distort.refused(
        "add", session, "take.wav", "--stimulus-file", "s.wav", status=2, inside=tmp_path
    )
    reel = ("add", session, "--reel", "take.wav", "--level", "86")
    assert "--reel takes one recording" in distort.refused(*reel, status=2, inside=tmp_path)
