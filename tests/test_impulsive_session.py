"""What a session says of rattles, and the sound to listen to."""

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]


@pytest.fixture
def session(analysed, tmp_path) -> Path:
    return Path(shutil.copytree(analysed, tmp_path / "monitor"))


def test_show_says_that_nothing_rattles(distort, analysed) -> None:
    said = distort.done("show", analysed, "impulsive").replace("\n", " ")
    assert "Nothing strikes, rubs or blows in two recordings" in said
    (table,) = json.loads(distort.done("show", analysed, "impulsive", "--json"))
    assert "rattle" not in json.dumps(table)


def test_the_sound_beyond_the_orders_is_written_with_where_it_comes_from(distort, session) -> None:
    said = distort.done("residual", session, "--level", "76").replace("\n", "")
    path = session / "results/listening/residual_default_76dB.flac"
    assert path.name in said
    assert "turn the volume down" in said
    samples, _ = soundfile.read(path)
    record = json.loads(path.with_suffix(".json").read_text())
    recording = session / record["file"]
    assert record["recording_sha256"] == hashlib.sha256(recording.read_bytes()).hexdigest()
    assert (record["simulated"], record["level_db_spl"], record["condition"]) == (False, 76.0, "default")
    # its peak is 12 dB below full scale, but for a step of 24 bits and the dither's two
    np.testing.assert_allclose(np.max(np.abs(samples)), 10.0 ** (-12.0 / 20.0), atol=3.0 * 2.0**-23)
    assert distort.done("residual", session, "--level", "76")  # again: it replaces its own


@pytest.mark.parametrize(("words", "says"), [(("--level", "75"), "there are 76"), ((), "--level")])
def test_a_level_that_is_not_there_is_told(distort, session, words, says) -> None:
    ending = distort("residual", session, *words)
    assert ending.status in (1, 2)
    assert says in ending.err
