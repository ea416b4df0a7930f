"""Music from the user's own file: mixed, brought to the session's rate, kept, and missed when it is not there."""

import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from distort.errors import PlanError, SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.kinds import programme_stimulus
from distort.session.plan.music import read_mixed
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text
from distort.session.recordings.pieces import give_piece, keep_piece, piece_path
from distort.session.recordings.stimulus_files import drives_dbfs, left_out, planned
from signals import SignalError, hold_samples
from signals.held import _held
from signals.levels import FULL_SCALE_SINE_RMS
from signals.sampled_programme import SampledProgramme, from_samples

RATE, GIVEN_RATE = 16000, 22050
SECONDS = 5.0
MUSIC = '\n[programme]\nfile = "programme/song.wav"\n'


def tones(rate: int, *frequencies_hz: float) -> np.ndarray:
    time_s = np.arange(round(SECONDS * rate)) / rate
    return np.asarray(sum(0.1 * np.sin(2.0 * np.pi * one * time_s) for one in frequencies_hz))


def played(samples: np.ndarray, **given) -> SampledProgramme:
    return from_samples(
        hold_samples(samples), **{"given_rate": GIVEN_RATE, "sample_rate": RATE, "drive_dbfs": -40.0, **given}
    )


def session(root, samples: np.ndarray, *, levels="levels = [70, 80]\n", rate=GIVEN_RATE) -> SessionFolder:
    folder = SessionFolder(root)
    (root / "programme").mkdir(parents=True)
    text = plan_text(name="Monitor A", levels_db_spl=(70.0, 80.0, 90.0))
    text = text.replace("sample_rate = 48000", f"sample_rate = {RATE}").replace("stop_hz = 22000", "stop_hz = 7200")
    folder.plan_path.write_text(text + MUSIC + levels)
    soundfile.write(root / "programme/song.wav", samples, rate, subtype="PCM_24")
    return folder


def test_a_tone_is_the_same_tone_at_the_other_rate() -> None:
    """Closed form: a sine of 1 kHz, sampled at 16 kHz, with the drive's r.m.s. (AES17); no delay, as no filter has a
    phase. Away from the ends, which are faded."""
    piece = played(tones(GIVEN_RATE, 1000.0))
    assert piece.n_samples == SECONDS * RATE
    time_s = np.arange(piece.n_samples) / RATE
    middle = slice(RATE, -RATE)
    expected = 0.01 * np.sin(2.0 * np.pi * 1000.0 * time_s)
    # of 20 ms faded at each end 5/8 of the energy are gone (a raised cosine squared has a mean of 3/8): 0.25 % of level
    np.testing.assert_allclose(piece.samples()[middle], expected[middle], atol=0.01 * 0.004)
    assert np.sqrt(np.mean(np.square(piece.samples()))) == pytest.approx(0.01 * FULL_SCALE_SINE_RMS, rel=1e-9)
    assert piece.crest_db == pytest.approx(-10.0 * np.log10(1.0 - 2.0 * 5.0 / 8.0 * 0.02 / SECONDS), abs=0.001)


def test_nothing_is_played_beyond_either_rate_or_below_lowest_hz() -> None:
    """Tones at 60 Hz and 9 kHz beside one at 1 kHz: only that one is left between 200 Hz and 45 % of 16 kHz."""
    piece = played(tones(GIVEN_RATE, 60.0, 1000.0, 9000.0), lowest_hz=200.0)
    power = np.square(np.abs(np.fft.rfft(piece.samples()[RATE:-RATE] * np.hanning(3 * RATE))))
    frequency_hz = np.fft.rfftfreq(3 * RATE, 1.0 / RATE)
    assert np.sum(power[np.abs(frequency_hz - 1000.0) > 10.0]) < 1e-8 * np.sum(power)
    assert (piece.begins_hz, piece.highest_hz) == (200.0, 0.45 * RATE)


@pytest.mark.parametrize(
    ("samples", "why"),
    [
        (np.ones(3 * GIVEN_RATE), "3.0 s cannot be played: cut out 5 to 60 s"),
        (np.ones(round(SECONDS * GIVEN_RATE)), "holds no sound between 20 and 7200 Hz"),
    ],
)
def test_what_is_no_piece_is_refused(samples, why) -> None:
    with pytest.raises(SignalError, match=why):
        played(samples)


def test_a_drive_that_would_clip_is_refused() -> None:
    piece = played(tones(GIVEN_RATE, 1000.0, 1100.0))
    with pytest.raises(SignalError, match="lower its drive"):
        replace(piece, drive_dbfs=-piece.crest_db + 0.1)


def test_channels_are_averaged_and_what_passes_full_scale_is_halved(tmp_path) -> None:
    left, right = tones(GIVEN_RATE, 1000.0), tones(GIVEN_RATE, 700.0)
    soundfile.write(tmp_path / "two.wav", np.stack([left, right], axis=1), GIVEN_RATE, subtype="DOUBLE")
    mixed, rate = read_mixed(tmp_path / "two.wav")
    assert rate == GIVEN_RATE
    np.testing.assert_allclose(mixed, 0.5 * (left + right), atol=0.5 * 2.0**-23)  # half a step of 24 bits
    soundfile.write(tmp_path / "loud.wav", 15.0 * left, GIVEN_RATE, subtype="DOUBLE")
    loud, _ = read_mixed(tmp_path / "loud.wav")
    np.testing.assert_allclose(loud, 7.5 * left, atol=0.5 * 2.0**-23)


def test_the_plans_file_is_played_at_the_levels_that_it_names_and_kept(tmp_path) -> None:
    samples = tones(GIVEN_RATE, 300.0, 1000.0)
    folder = session(tmp_path / "monitor", samples)
    plan = read_plan(folder.root)
    items = [one for one in planned(plan, drives_dbfs(plan, None)) if one.stimulus_name == "programme"]
    assert [one.level_db_spl for one in items] == [70.0, 80.0]
    piece = items[0].stimulus
    assert isinstance(piece, SampledProgramme)
    keep_piece(folder, piece)
    kept, rate = soundfile.read(piece_path(folder, piece))
    assert rate == GIVEN_RATE
    np.testing.assert_array_equal(kept, soundfile.read(folder.root / "programme/song.wav")[0])
    expected = piece.samples()
    del _held[piece.samples_sha256]
    (tmp_path / "monitor/programme/song.wav").unlink()
    give_piece(folder, piece, played_for="programme_70dB")
    np.testing.assert_array_equal(piece.samples(), expected)


def test_music_whose_loudest_moment_passes_the_ceiling_is_left_out(tmp_path) -> None:
    """A tenth of the time sounds: r.m.s. of the loudest 125 ms 10 dB over that of all of it. The ceiling is 105."""
    samples = tones(GIVEN_RATE, 500.0)
    samples[round(0.1 * samples.size) :] = 0.0
    folder = session(tmp_path / "monitor", samples, levels="")
    folder.plan_path.write_text(folder.plan_path.read_text().replace("[70, 80, 90]", "[70, 94, 96]"))
    plan = read_plan(folder.root)
    (found,) = left_out(plan, drives_dbfs(plan, None))
    assert (found.kind.name, found.levels_db_spl, found.too_loud) == ("programme", (96.0,), True)
    piece = programme_stimulus(plan, drive_dbfs=-40.0)
    assert piece is not None
    # the fades at the ends of 0.5 s take 20 ms of it
    assert piece.loudest_db == pytest.approx(10.0, abs=0.2)


def test_what_became_of_the_music_is_said(tmp_path) -> None:
    folder = session(tmp_path / "monitor", tones(GIVEN_RATE, 500.0))
    piece = programme_stimulus(read_plan(folder.root), drive_dbfs=-40.0)
    assert isinstance(piece, SampledProgramme)
    keep_piece(folder, piece)
    del _held[piece.samples_sha256]
    path = piece_path(folder, piece)
    soundfile.write(path, tones(GIVEN_RATE, 600.0), GIVEN_RATE, subtype="PCM_24")
    with pytest.raises(SessionError, match="is not the music that was played for programme_70dB: bring that back"):
        give_piece(folder, piece, played_for="programme_70dB")
    path.unlink()
    with pytest.raises(SessionError, match="is missing: bring back the music"):
        give_piece(folder, piece, played_for="programme_70dB")
    song = folder.root / "programme/song.wav"
    soundfile.write(song, tones(GIVEN_RATE, 600.0)[:GIVEN_RATE], GIVEN_RATE)
    with pytest.raises(PlanError, match=r"lasts 1\.0 s: cut out 5 to 60 s of it"):
        programme_stimulus(read_plan(folder.root), drive_dbfs=-40.0)
    song.write_text("no music")
    with pytest.raises(PlanError, match=r"\[programme\] file: .* cannot be read as WAV or FLAC"):
        programme_stimulus(read_plan(folder.root), drive_dbfs=-40.0)
    song.unlink()
    with pytest.raises(PlanError, match=re.escape(f"{song} is missing, the music of [programme]")):
        programme_stimulus(read_plan(folder.root), drive_dbfs=-40.0)


def test_a_level_that_is_none_of_the_plan_is_refused() -> None:
    text = plan_text(name="Monitor A", levels_db_spl=(70.0, 80.0))
    with pytest.raises(PlanError, match=r"levels names 75 dB, which is none of \[levels\] db_spl: there are 70, 80"):
        plan_from_text(text + "\n[programme]\nlevels = [75]\n", source="session.toml")
