"""The chain's own distortion: of electronics that are a known polynomial, and of a microphone by its data sheet."""

import json

import numpy as np
import pytest
import soundfile

from distort.analysis.sweep.chain import MicrophoneLimit, microphone_bound_db
from distort.session.files.csv_table import read_table
from tests.clumsy_session import RATE

pytest_plugins = ["tests.clumsy_fixtures"]

SECOND, THIRD = 0.004, 0.02
GAIN = 0.5


def electronics(played: np.ndarray) -> np.ndarray:
    """GAIN (x + SECOND x^2 + THIRD x^3): two known orders."""
    return GAIN * (played + SECOND * played**2 + THIRD * played**3)


@pytest.fixture
def chain_session(distort, session, tmp_path):
    """A session whose second condition is the chain alone; the loudspeaker in the first is a wire too."""
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8")
    text = text.replace('conditions = ["default"]', 'conditions = ["default", "chain"]')
    lines = [
        'chain_condition = "chain"' if line.startswith("# chain_condition") else line for line in text.splitlines()
    ]
    plan.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return session


def bring_in(distort, session, tmp_path, condition: str) -> np.ndarray:
    played, _ = soundfile.read(session / "stimuli/sweep_86dB.wav")
    random = np.random.default_rng(len(condition))
    heard = electronics(np.pad(played, (4800, 4800))) + 1e-6 * random.standard_normal(played.size + 9600)
    path = tmp_path / f"{condition}.wav"
    soundfile.write(path, heard, RATE, subtype="FLOAT")
    words = ("--stimulus", "sweep", "--level", "86", "--condition", condition, "--playback-change-db", "0")
    distort.done("add", session, path, *words)
    return played


@pytest.mark.sample
def test_a_condition_that_is_the_chain_fills_the_column(distort, chain_session, tmp_path) -> None:
    """Second order of a polynomial re its fundamental: `a2 A / 2` (re 1 + 3/4 a3 A^2: 0.01 dB here).

    0.1 dB: the smoothing of noise at -120 dBFS. The way out is flat, so that nothing is added.
    """
    played = bring_in(distort, chain_session, tmp_path, "chain")
    bring_in(distort, chain_session, tmp_path, "default")
    said = distort.done("analyze", chain_session)
    table = read_table(chain_session / "results/default/harmonics_86dB.csv")
    amplitude = float(np.max(np.abs(played)))
    row = int(np.argmin(np.abs(table["frequency_hz"] - 500.0)))
    assert table["h2_chain_db"][row] == pytest.approx(20.0 * np.log10(SECOND * amplitude / 2.0), abs=0.1)
    assert table["h2_chain_db"][row] == pytest.approx(table["h2_db"][row], abs=0.2)
    assert "what electronics and microphone may make themselves: H2 in" in said
    assert np.isnan(read_table(chain_session / "results/chain/harmonics_86dB.csv")["h2_chain_db"]).all()


def test_a_loopback_beside_the_take_fills_the_column(distort, session, tmp_path) -> None:
    played = bring_in(distort, session, tmp_path, "default")
    folder = session / "loopback/default"
    folder.mkdir(parents=True)
    loopback = played + 0.01 * played**2
    soundfile.write(folder / "sweep_86dB.flac", np.pad(loopback, 4800), RATE, subtype="PCM_24")
    distort.done("analyze", session)
    table = read_table(session / "results/default/harmonics_86dB.csv")
    amplitude = float(np.max(np.abs(played)))
    row = int(np.argmin(np.abs(table["frequency_hz"] - 500.0)))
    assert table["h2_chain_db"][row] == pytest.approx(20.0 * np.log10(0.01 * amplitude / 2.0), abs=0.2)


def test_a_wire_named_as_the_microphone_is_told(distort, session, tmp_path) -> None:
    bring_in(distort, session, tmp_path, "default")
    sidecar = json.loads((session / "recordings/default/sweep_86dB.json").read_text(encoding="utf-8"))
    assert sidecar["quality"]["verdict"] == "usable"
    assert any("loopback" in sentence for sentence in sidecar["quality"]["findings"])
    assert {"channel", "continuity", "gain", "noise_before_1000hz"} <= {
        one["name"] for one in sidecar["quality"]["checks"]
    }


def test_the_microphone_s_bound_falls_with_the_level() -> None:
    """By arithmetic: 3 % is -30.46 dB; 20 dB below it the second order is 20 dB lower, the third 40 dB."""
    limit = MicrophoneLimit(max_db_spl=120.0, percent=3.0, distance_m=10.0**0.3)  # 6 dB
    level = np.array([126.0, 106.0])  # at 1 m, of a microphone at 2 m: 120 and 100 at the microphone
    assert microphone_bound_db(2, level, limit) == pytest.approx([-30.458, -50.458], abs=1e-3)
    assert microphone_bound_db(3, level, limit) == pytest.approx([-30.458, -70.458], abs=1e-3)


def test_a_chain_condition_that_is_not_in_the_plan_is_refused(distort, session, tmp_path) -> None:
    bring_in(distort, session, tmp_path, "default")
    plan = session / "session.toml"
    text = plan.read_text(encoding="utf-8").replace("[analysis]", '[analysis]\nchain_condition = "wire"')
    plan.write_text(text, encoding="utf-8")
    assert "chain_condition is 'wire'" in distort.refused("analyze", session, inside=session)
