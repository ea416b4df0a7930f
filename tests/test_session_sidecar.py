"""Sidecars, the calibration and recordings on disk: written, read again, and refused when they cannot be trusted."""

import json
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distort.errors import SessionError
from distort.session.audio.audio_file import write_audio
from distort.session.calibration.calibration_file import MicrophoneCalibration, read_calibration, write_calibration
from distort.session.calibration.in_force import CalibrationInForce
from distort.session.files.hashing import sha256_of_file
from distort.session.files.moments import now_utc
from distort.session.recordings.reel_layout import layout_of, reel_of
from distort.session.recordings.sidecar import (
    Quality,
    Sidecar,
    StimulusSidecar,
    read_sidecar,
    read_stimulus_sidecar,
    reject,
    require_same_file,
    write_sidecar,
    write_stimulus_sidecar,
)
from signals import Burst, Noise, Reel, Tone, framed
from tests.session_examples import SIDECAR, SWEEP

CALIBRATION = MicrophoneCalibration(
    calibrator_dbfs=-26.31,
    calibrator_db_spl=94.0,
    frequency_hz=1000.02,
    file="calibration/calibrator.flac",
    sha256="d" * 64,
    date="2024-05-01T12:00:00+00:00",
    device="microphone interface",
    spl_of_full_scale=120.31,
)


def damaged(path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    path.write_text(json.dumps(document), encoding="utf-8")


def test_a_sidecar_comes_back_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "sweep_86dB.json"
    write_sidecar(path, SIDECAR)
    back = read_sidecar(path)
    assert back == SIDECAR
    assert back.name.stem == "sweep_86dB"
    assert np.array_equal(back.stimulus.samples(), SWEEP.samples())
    assert np.array_equal(back.reel.samples(), framed(SWEEP).samples())
    assert back.reel.only_stimulus() == framed(SWEEP).only_stimulus()


def test_what_nobody_said_comes_back_as_not_said(tmp_path: Path) -> None:
    write_sidecar(tmp_path / "a.json", replace(SIDECAR, calibration=None, turned_db=None, rejected=None))
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert document["calibration"] is None
    assert document["turned_db"] is None
    assert read_sidecar(tmp_path / "a.json").calibration is None
    write_sidecar(tmp_path / "a.json", replace(SIDECAR, turned_db=0.0))
    assert read_sidecar(tmp_path / "a.json").turned_db == 0.0


def test_the_file_says_where_each_part_of_what_was_played_lies(tmp_path: Path) -> None:
    """Readable without this program: 0.5 s, chirp of 0.1 s, 2.75 s, the sweep, 3 s, chirp, 0.5 s at 48 kHz."""
    write_sidecar(tmp_path / "a.json", SIDECAR)
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert document["format"] == 1
    assert [item["kind"] for item in document["reel"]] == [
        "silence", "chirp", "silence", "sweep", "silence", "chirp", "silence",
    ]  # fmt: skip
    assert [item["start_sample"] for item in document["reel"]][:4] == [0, 24000, 28800, 160800]
    assert document["reel"][3]["n_samples"] == SWEEP.n_samples
    assert document["stimulus"]["lowest_hz"] == 40.0


@pytest.mark.parametrize(
    "stimulus",
    [SWEEP, Tone(frequency_hz=250.0, drive_dbfs=-12.3), Burst(periods=4), Noise(seconds=0.5, seed=9, spectrum="flat")],
)
def test_every_stimulus_can_be_made_again_from_its_layout(stimulus: Any) -> None:
    reel = framed(stimulus)
    again = reel_of(json.loads(json.dumps(layout_of(reel))))
    assert again == reel
    assert np.array_equal(again.samples(), reel.samples())


@settings(max_examples=50, deadline=None)
@given(
    drive=st.floats(-90, -1),
    start=st.floats(0, 1e7),
    turned=st.none() | st.floats(-100, 100),
    note=st.text(max_size=40),
    findings=st.lists(st.text(max_size=20), max_size=3).map(tuple),
)
def test_any_number_and_any_text_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    drive: float,
    start: float,
    turned: float | None,
    note: str,
    findings: tuple[str, ...],
) -> None:
    """To the last bit of every number: JSON takes the shortest text that reads back the same (repr)."""
    stimulus = replace(SWEEP, drive_dbfs=drive)
    sidecar = replace(
        SIDECAR,
        drive_dbfs=drive,
        stimulus=stimulus,
        reel=framed(stimulus),
        stimulus_start_sample=start,
        turned_db=turned,
        device=note,
        quality=Quality(verdict="good", findings=findings),
    )
    path = tmp_path_factory.getbasetemp() / "any.json"
    write_sidecar(path, sidecar)
    assert read_sidecar(path) == sidecar


def test_a_sidecar_of_before_set_ups_were_told_apart_is_read(tmp_path: Path) -> None:
    path = tmp_path / "sweep_86dB.json"
    write_sidecar(path, replace(SIDECAR, repositioned=True))
    assert read_sidecar(path).repositioned
    damaged(path, lambda document: document.pop("repositioned"))
    assert read_sidecar(path) == replace(SIDECAR, repositioned=False)


LATER = {
    "repositioned",
    "sound_delay_s",
    "original",
    "stimulus_original_sha256",
    "relabelled",
    "applied_afterwards",
    "stopped",
}
"""Fields that recordings of earlier versions lack."""


@pytest.mark.parametrize("name", [field.name for field in fields(Sidecar) if field.name not in LATER])
def test_every_key_is_needed_and_its_type_is_checked(tmp_path: Path, name: str) -> None:
    path = tmp_path / "sweep_86dB.json"
    write_sidecar(path, SIDECAR)
    damaged(path, lambda document: document.pop(name))
    with pytest.raises(SessionError, match=rf"sweep_86dB\.json does not hold what it must: missing: {name}$"):
        read_sidecar(path)
    for wrong in ({"a": 1}, ["text", 1], b"bytes".hex() if name not in TEXTS else 3):
        write_sidecar(path, SIDECAR)
        damaged(path, lambda document, wrong=wrong: document.update({name: wrong}))  # type: ignore[misc]
        with pytest.raises(SessionError, match=rf"sweep_86dB\.json does not hold what it must: {name}: "):
            read_sidecar(path)


TEXTS = {"stimulus_name", "condition", "date", "device", "stimulus_sha256", "recording_sha256", "rejected"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.update(extra=1), "unknown: extra"),
        (lambda d: d["quality"].update(extra=1), "quality: unknown: extra"),
        (lambda d: d["quality"].update(verdict="fine"), "one of 'good', 'usable', 'refuse'"),
        (lambda d: d["loudspeaker"].pop("name"), "loudspeaker: missing: name"),
        (lambda d: d["setup"].update(distance_m="1"), "setup: distance_m: float is needed, not '1'"),
        (lambda d: d.update(take=True), "take: int is needed, not True"),
        (lambda d: d.update(take=1.5), "take: int is needed, not 1.5"),
        (lambda d: d.update(simulated=1), "simulated: bool is needed, not 1"),
        (lambda d: d.update(take=0), "take 0"),
        (lambda d: d.update(condition="../a"), "cannot name a condition"),
        (lambda d: d.update(drive_dbfs=-20.0), "drive_dbfs is -20, the stimulus says -31.7"),
        (lambda d: d.update(channel=0), "must be at least 1"),
        (lambda d: d.update(recording_sha256="B" * 64), "is not a SHA-256"),
        (lambda d: d.update(stimulus_sha256="b" * 63), "is not a SHA-256"),
        (lambda d: d.update(date="2024-05-01T12:30:00"), "is not UTC"),
        (lambda d: d.update(date="2024-05-01T12:30:00+02:00"), "is not UTC"),
        (lambda d: d.update(date="yesterday"), "yesterday"),
        (lambda d: d["stimulus"].update(seconds=2.0), "the reel does not hold the stimulus"),
        (lambda d: d["stimulus"].update(kind="music"), "stimulus: unknown kind of stimulus 'music'"),
        (lambda d: d["stimulus"].update(stop_hz=30000), "not below half the sample rate"),
        (lambda d: d["stimulus"].update(seconds="1"), "seconds must be a finite number"),
        (lambda d: d["reel"][1].update(high_hz="x"), "high_hz must be a finite number"),
        (lambda d: d["reel"][1].pop("high_hz"), "not described as expected: high_hz"),
        (lambda d: d["reel"][3].update(start_sample=160801), "does not lie where it was written to lie"),
        (lambda d: d["reel"].pop(0), "does not lie where it was written to lie"),
        (lambda d: d["reel"].clear(), "a reel needs items"),
        (lambda d: d.update(format=2), "says format 2"),
        (lambda d: d.pop("format"), "says format None"),
        (lambda d: d["setup"].update(distance_m="x" * 5000), f"not '{'x' * 39}...{'x' * 19}' (5,000 characters)"),
        (lambda d: d.update({"y" * 5000: 1}), f"unknown: {'y' * 39}...{'y' * 19}"),
        (lambda d: d.update(level_db_spl=1e5), "level_db_spl: 100000 is impossible"),
        (lambda d: d.update(turned_db=-1e300), "turned_db: the number is too large"),
        (lambda d: d["setup"].update(distance_m=10**400), "distance_m: the number is too large"),
        (lambda d: d.update(sample_rate=10**400), "sample_rate: the number is too large"),
        (
            lambda d: d.update(device="x" * 10_001),
            "device: a text of at most 10,000 characters is needed, not of 10,001",
        ),
        (lambda d: d["loudspeaker"].update(name="\ud83d"), "name: '\\ud83d' is no text"),
    ],
)
def test_a_sidecar_that_contradicts_itself(tmp_path: Path, change: Callable[[Any], object], said: str) -> None:
    path = tmp_path / "sweep_86dB.json"
    write_sidecar(path, SIDECAR)
    damaged(path, change)
    with pytest.raises(SessionError, match=r"sweep_86dB\.json") as caught:
        read_sidecar(path)
    assert said in str(caught.value)
    assert len(str(caught.value).removeprefix(str(tmp_path))) < 250


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is not valid JSON"),
        (b"\xff\xfe", "is not valid JSON"),
        (b'{"format": 1', "is not valid JSON"),
        (b'{"format": 1, "take": NaN}', "NaN is not a number"),
        (b'{"format": 1, "take": -Infinity}', "-Infinity is not a number"),
        (b'{"format": 1, "format": 1}', "a key stands twice"),
        (b"[" * 100_000, "is not valid JSON"),
        (b"[1]", "must hold a JSON object"),
    ],
)
def test_what_is_no_json(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "sweep_86dB.json"
    path.write_bytes(content)
    with pytest.raises(SessionError, match=r"sweep_86dB\.json") as caught:
        read_sidecar(path)
    assert said in str(caught.value)


def test_a_number_too_large_for_a_float(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    write_sidecar(path, SIDECAR)
    text = path.read_text(encoding="utf-8").replace("160934.123456789", "1e999")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SessionError, match="too large"):
        read_sidecar(path)


def test_missing_and_not_finite(tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"none\.json is missing"):
        read_sidecar(tmp_path / "none.json")
    with pytest.raises(SessionError, match="is not finite"):
        write_sidecar(tmp_path / "a.json", replace(SIDECAR, turned_db=float("nan")))
    assert list(tmp_path.iterdir()) == []


def test_a_rejection_is_kept_with_its_reason(tmp_path: Path) -> None:
    write_sidecar(tmp_path / "a.json", SIDECAR)
    assert reject(tmp_path / "a.json", " the telephone rang ").rejected == "the telephone rang"
    assert read_sidecar(tmp_path / "a.json") == replace(SIDECAR, rejected="the telephone rang")
    for reason, said in (
        (" ", "in a few words why"),
        ("x" * 201, "the reason must be a text of at most 200 characters, not of 201"),
        ("\x1b[2J", "the reason must be a text without control characters"),
        ("\udcff", "the reason must be a text without control characters"),
    ):
        with pytest.raises(SessionError, match=said):
            reject(tmp_path / "a.json", reason)
    assert read_sidecar(tmp_path / "a.json").rejected == "the telephone rang"


def test_a_stimulus_sidecar_makes_the_same_file_again(tmp_path: Path) -> None:
    reel = framed(SWEEP)
    audio_path = tmp_path / "sweep_86dB.wav"
    write_audio(audio_path, reel.samples(), 48000, dither_seed=5)
    sidecar = StimulusSidecar(
        stimulus_name="sweep",
        level_db_spl=86.0,
        drive_dbfs=-31.7,
        stimulus=SWEEP,
        reel=reel,
        sample_rate=48000,
        subtype="PCM_24",
        dither_seed=5,
        file="sweep_86dB.wav",
        sha256=sha256_of_file(audio_path),
    )
    write_stimulus_sidecar(tmp_path / "sweep_86dB.json", sidecar)
    back = read_stimulus_sidecar(tmp_path / "sweep_86dB.json")
    assert back == sidecar
    write_audio(
        tmp_path / "again.wav",
        back.reel.samples(),
        back.sample_rate,
        subtype=back.subtype,
        dither_seed=back.dither_seed,
    )
    require_same_file(tmp_path / "again.wav", back.sha256, tmp_path / "sweep_86dB.json")
    damaged(tmp_path / "sweep_86dB.json", lambda document: document.update(sample_rate=44100))
    with pytest.raises(SessionError, match="sample_rate is 44100, the reel says 48000"):
        read_stimulus_sidecar(tmp_path / "sweep_86dB.json")


def test_the_calibration_file(tmp_path: Path) -> None:
    """94 dB SPL read at -26.31 dBFS: full scale stands for 94 + 26.31 = 120.31 dB SPL."""
    path = tmp_path / "microphone.json"
    assert read_calibration(path) is None
    write_calibration(path, CALIBRATION)
    assert read_calibration(path) == CALIBRATION
    assert CALIBRATION.in_force() == CalibrationInForce(calibrator_dbfs=-26.31, calibrator_db_spl=94.0, sha256="d" * 64)
    damaged(path, lambda document: document.update(calibrator_db_spl=114.0))
    with pytest.raises(SessionError, match=r"microphone\.json .* spl_of_full_scale is 120\.31, its parts say 140\.31"):
        read_calibration(path)
    path.unlink()
    path.symlink_to(tmp_path / "none.json")
    with pytest.raises(SessionError, match="a link to a file that is missing"):
        read_calibration(path)


def test_the_moment_is_utc() -> None:
    assert replace(SIDECAR, date=now_utc()).date.endswith("+00:00")


def test_a_reel_of_several_stimuli_can_be_laid_out() -> None:
    reel = Reel((SWEEP, Tone(), SWEEP))
    assert reel_of(layout_of(reel)) == reel


def test_a_turned_volume_adds_to_the_level_of_our_own_files_and_is_that_of_a_sweep_made_elsewhere() -> None:
    """One file for all levels says nothing of a level: whoever calls it 96 dB has turned the volume already."""
    ours = replace(SIDECAR, level_db_spl=96.0, turned_db=10.0, stimulus_original_sha256=None)
    assert ours.as_played_db_spl == 106.0
    assert replace(ours, stimulus_original_sha256="e" * 64).as_played_db_spl == 96.0
    assert replace(ours, turned_db=None).as_played_db_spl == 96.0
