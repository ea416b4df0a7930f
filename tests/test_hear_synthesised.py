"""`distort hear --programme` from the command line: music that was never played, through a loudspeaker whose curve is
known, against that curve."""

import numpy as np
import pytest
import scipy.fft
import soundfile

from distort.analysis.heard import third_octave_powers
from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.results.heard_files import as_written, heard_records
from signals.burst import third_octaves_hz
from signals.levels import power_to_db
from signals.programme import Programme
from tests.clumsy_session import RATE, CommandLine, shorten
from tests.devices.scaled import ScaledLoudspeaker

FULL_SCALE_DB_SPL = 120.0
SQUARE = 2.0
"""Of the curve x + 2 x^2: at 70 dB SPL, -50 dBFS, its second harmonic is -50 dB re the tone."""

BANDS_HZ = np.array(third_octaves_hz(100.0, 5000.0))


def bent(played: np.ndarray) -> np.ndarray:
    """The square at twice the sample rate, where nothing folds."""
    size = scipy.fft.next_fast_len(played.size, real=True)
    fine = scipy.fft.irfft(scipy.fft.rfft(played, size), 2 * size) * 2.0
    return scipy.fft.irfft(scipy.fft.rfft(SQUARE * fine * fine)[: size // 2 + 1], size)[: played.size] / 2.0


class Square(ScaledLoudspeaker):
    """Bends what is played."""

    def play_and_record(self, playback: np.ndarray, **given) -> np.ndarray:
        return super().play_and_record(playback + bent(playback), **given)


@pytest.fixture
def distort(capsys) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def folder(tmp_path, distort) -> SessionFolder:
    """Sweeps and multitones at 70, 80 and 90 dB SPL, calibrated, and no music."""
    made = SessionFolder(tmp_path / "monitor")
    distort.done("new", made.root, "--levels", "70:90:10")
    shorten(made.root, rest_s="1.0", period_s="0.5", orders="4", seconds="1.6", lines_per_decade="6")
    tone = 10.0 ** ((94.0 - FULL_SCALE_DB_SPL) / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    calibrate_from_samples(made, tone, RATE, db_spl=94.0, device="scaled", replace=True)
    device = Square(noise=1e-7)
    measure(made, read_plan(made.root), device, Choice(condition="default"), progress=lambda what, done, total: None)
    return made


@pytest.mark.sample
def test_music_that_was_never_played_sounds_as_the_curve_makes_it(folder, distort, tmp_path) -> None:
    """The square of the music itself, by the curve, in third octaves of 100 Hz to 5 kHz re the music: the limit of
    0.2 dB r.m.s. is a tenth of what the verdict asks of even products; the curve is known wave for wave (0.04 dB)."""
    piece, rate = Programme(seconds=5.0, sample_rate=RATE, drive_dbfs=-20.0).samples(), RATE
    soundfile.write(tmp_path / "song.flac", piece, rate, subtype="PCM_24")
    said = " ".join(distort.done("hear", folder.root, "--level", "70", "--programme", tmp_path / "song.flac").split())
    assert "Synthesised from sweeps at 70 dB SPL: a likeness, not the waveform." in said
    assert "linear change" not in said
    assert "as meant: as the quietest sweep has the loudspeaker" in said
    assert "stay in the session: no licence" in said
    (record,) = heard_records(folder)
    assert as_written(folder, record)
    assert (record.source, record.quiet_db_spl, record.level_db_spl) == ("synthesised", None, 70.0)
    there = folder.root / "results/listening"
    sounds = {one.part: soundfile.read(there / one.file)[0] for one in record.sounds if not one.raised_db}
    assert all(one.file.startswith("default_70dB_synthesised_") for one in record.sounds)
    assert all("synthesised" in soundfile.SoundFile(there / one.file).title for one in record.sounds)
    assert "Synthesised" in (there / "blind.html").read_text(encoding="utf-8")
    played = piece * 10.0 ** ((70.0 - FULL_SCALE_DB_SPL + 20.0) / 20.0)
    expected_db, found_db = (
        power_to_db(third_octave_powers(added, RATE, BANDS_HZ) / third_octave_powers(music, RATE, BANDS_HZ))
        for added, music in (
            (bent(played), played),
            (sounds["remainder"][: piece.size], sounds["intended"][: piece.size]),
        )
    )
    assert np.sqrt(np.mean(np.square(found_db - expected_db))) < 0.2
    beyond = distort.refused(
        "hear", folder.root, "--level", "90", "--programme", tmp_path / "song.flac", inside=folder.root
    )
    assert "music is synthesised up to 80 dB SPL in condition default" in beyond
    soundfile.write(tmp_path / "short.wav", np.ones(RATE) * 0.1, RATE)
    (tmp_path / "none.wav").write_text("no sound", encoding="utf-8")
    for name, says in (("short.wav", "lasts 1.0 s"), ("none.wav", "none.wav"), ("gone.wav", "gone.wav")):
        words = ("hear", folder.root, "--level", "70", "--programme", tmp_path / name)
        assert says in distort.refused(*words, inside=folder.root)
