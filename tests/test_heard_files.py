"""The sounds, the figure and the record of `distort hear`, there and back."""

import json

import numpy as np
import pytest
import soundfile

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.results.heard_files import Heard, Sound, as_written, heard_records, write_heard

RATE = 16000
TAGS = {"title": "Monitor A, desk, 96 dB SPL, recorded", "comment": "nothing is simulated"}


def heard(**given) -> Heard:
    facts = {
        "source": "recorded",
        "simulated": False,
        "loudspeaker": "Monitor A",
        "condition": "desk",
        "level_db_spl": 96.0,
        "quiet_db_spl": 81.0,
        "credit": "",
        "licence": "CC0",
        "programme_sha256": None,
        "sample_rate": RATE,
        "n_samples": 800,
        "full_scale_db_spl": None,
        "recordings": (),
        "silent": ("compression",),
    }
    return Heard(**{**facts, **given})


def tone(amplitude: float) -> np.ndarray:
    return amplitude * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(800))


def written(folder: SessionFolder, raised_db: float = 30.0, **given) -> Heard:
    sounds = [
        Sound(part="intended", samples=tone(0.5)),
        Sound(part="remainder", samples=tone(0.001)),
        Sound(part="remainder", samples=tone(0.001 * 10 ** (raised_db / 20.0)), raised_db=raised_db),
    ]
    return write_heard(folder, heard(**given), sounds, tags=TAGS, figure_png=lambda: b"a picture")


def test_sounds_are_written_named_and_found_again(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    record = written(folder)
    assert heard_records(folder) == (record,)
    assert as_written(folder, record)
    there = tmp_path / "results" / "listening"
    raised = record.sound("remainder", raised=True)
    assert raised is not None
    assert raised.file == "desk_96dB_remainder_plus30dB.flac"
    assert record.sound("no-distortion") is None
    samples, rate = soundfile.read(there / raised.file)
    assert rate == RATE
    # 24 bits under triangular dither of two steps: a step and a half
    np.testing.assert_allclose(samples, tone(0.001 * 10**1.5), atol=2.0 * 2.0**-23)
    with soundfile.SoundFile(there / raised.file) as file:
        assert file.title == "Monitor A, desk, 96 dB SPL, recorded: remainder_plus30dB"
        assert file.comment == "nothing is simulated"


def test_what_an_earlier_run_raised_otherwise_goes_and_other_files_stay(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    written(folder)
    there = tmp_path / "results" / "listening"
    (there / "desk_96dB_of_my_own.flac").write_bytes(b"")
    written(folder, raised_db=24.0)
    assert sorted(path.name for path in there.iterdir()) == [
        "desk_96dB.json",
        "desk_96dB.png",
        "desk_96dB_intended.flac",
        "desk_96dB_of_my_own.flac",
        "desk_96dB_remainder.flac",
        "desk_96dB_remainder_plus24dB.flac",
    ]


def test_synthesised_sounds_lie_beside_recorded_ones(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    both = written(folder), written(folder, source="synthesised", quiet_db_spl=None)
    assert set(heard_records(folder)) == set(both)
    assert all(as_written(folder, one) for one in both)


def test_a_sound_that_was_changed_is_not_as_written(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    record = written(folder)
    (tmp_path / "results" / "listening" / record.sounds[0].file).write_bytes(b"another")
    assert not as_written(folder, record)


def test_a_record_that_names_a_file_elsewhere_is_not_as_written_and_nothing_there_is_removed(tmp_path) -> None:
    folder = SessionFolder(tmp_path)
    record = written(folder)
    outside = tmp_path / "mine.flac"
    outside.write_bytes(b"mine")
    path = tmp_path / "results" / "listening" / "desk_96dB.json"
    document = json.loads(path.read_text())
    document["sounds"][0]["file"] = "../../mine.flac"
    path.write_text(json.dumps(document))
    assert not as_written(folder, heard_records(folder)[0])
    written(folder)
    assert outside.exists()
    assert as_written(folder, record)


def test_another_file_of_the_records_name_is_not_replaced(tmp_path) -> None:
    there = tmp_path / "results" / "listening"
    there.mkdir(parents=True)
    (there / "desk_96dB.json").write_text('{"format": 1, "mine": true}')
    with pytest.raises(SessionError, match="not what `distort hear` wrote: move it away"):
        written(SessionFolder(tmp_path))
    assert [path.name for path in there.iterdir()] == ["desk_96dB.json"]
