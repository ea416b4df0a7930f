"""`distort hear`: the sounds, what it says of them, and what it refuses; and the masking that it shows."""

import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from distort.analysis.hearing.masking import bark, schroeder_spread_db, threshold_of_hearing_db_spl
from distort.analysis.hearing.over_masked import over_masked
from distort.errors import SessionError
from distort.report.figures.heard import heard_figure
from distort.session.files.folder import SessionFolder
from distort.session.plan.licences import may_be_shared
from distort.session.plan.reading import read_plan
from distort.session.published.contents import contents_of
from distort.session.results.heard_files import as_written, heard_records
from signals.burst import third_octaves_hz
from tests.test_heard_files import heard
from tests.test_report_figures import assert_no_words_overlap

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]

RATE = 16000


@pytest.mark.sample
def test_sounds_of_the_users_own_music_are_written_and_spoken_of(distort, with_music, tmp_path) -> None:
    """A cubic part: some decibels less at peaks, and products. Delivered is intended and remainder, by the samples."""
    session = Path(shutil.copytree(with_music, tmp_path / "monitor"))
    (session / "programme" / "piece.flac").unlink()  # what was played is kept
    said = " ".join(distort.done("hear", session).split())
    assert "Recorded at 86 dB SPL (nominal, at 1 m), held against the recording at 76 dB SPL." in said
    assert "Turn the volume down before you listen" in said
    assert (
        "These sounds, and a blind test that plays them, stay in the session: no licence that permits sharing is stated"
        in said
    )
    folder = SessionFolder(session)
    (record,) = heard_records(folder)
    assert as_written(folder, record)
    assert (record.source, record.simulated, record.quiet_db_spl) == ("recorded", False, 76.0)
    there = session / "results" / "listening"
    sounds = {one.part: soundfile.read(there / one.file)[0] for one in record.sounds if not one.raised_db}
    # three roundings to 24 bits, each with dither of up to a step either way
    np.testing.assert_allclose(
        sounds["delivered"], sounds["intended"] + sounds["remainder"], rtol=0.0, atol=6.0 * 2.0**-23
    )
    assert np.max([np.max(np.abs(one)) for one in sounds.values()]) == pytest.approx(10.0 ** (-3.0 / 20.0), abs=1e-6)
    raised = record.sound("remainder", raised=True)
    assert raised is not None
    samples, _ = soundfile.read(there / raised.file)
    assert 10.0 ** (-4.0 / 20.0) < np.max(np.abs(samples)) <= 10.0 ** (-3.0 / 20.0) + 2.0**-22
    with soundfile.SoundFile(there / raised.file) as file:
        assert "86 dB SPL, recorded" in file.title
        assert file.artist == ""  # whose the music is the plan no longer says for sure


@pytest.mark.sample
def test_recordings_of_music_leave_the_session_with_a_licence_that_permits_it_alone(with_music, tmp_path) -> None:
    session = Path(shutil.copytree(with_music, tmp_path / "monitor"))
    music = {f"recordings/default/programme_{level}dB.{ending}" for level in (76, 86) for ending in ("wav", "json")}
    kept = f"programme/{next((session / 'programme').glob('piece_*')).name}"

    def packed() -> set[str]:
        return {one.file for one in contents_of(SessionFolder(session), read_plan(session)).files}

    assert not packed() & {*music, kept}
    assert len(contents_of(SessionFolder(session), read_plan(session)).unlicensed) == 2
    with (session / "session.toml").open("a", encoding="utf-8") as plan:
        plan.write('licence = "CC-BY-4.0"\n')  # and a credit
    assert packed() >= {*music, kept}
    whole = (session / kept).read_bytes()
    samples, rate = soundfile.read(session / kept)
    soundfile.write(session / kept, samples[::-1], rate, subtype="PCM_24")
    with pytest.raises(SessionError, match="is not the music that was played"):  # other music, by no licence at all
        packed()
    (session / kept).write_bytes(whole)
    soundfile.write(session / "programme/piece.flac", np.full(6 * 48000, 0.1) * np.sin(np.arange(6 * 48000)), 48000)
    assert not packed() & {*music, kept}  # the licence is that of other music by now


@pytest.mark.parametrize("stated", [("cc0-1.0", ""), ("CC-BY-SA-4.0", "Nobody"), ("Public  domain", "")])
def test_a_licence_that_permits_sharing_is_known(stated) -> None:
    assert may_be_shared(*stated)


@pytest.mark.parametrize("licence", ["", "CC-BY-NC-4.0", "CC-BY-ND-4.0", "mine"])
def test_any_other_does_not_let_the_music_out(licence) -> None:
    assert not may_be_shared(licence, "Nobody")


@pytest.mark.parametrize("licence", ["CC-BY-4.0", "cc-by-sa-3.0"])
def test_a_licence_that_asks_for_a_name_lets_nothing_out_without_one(licence) -> None:
    assert not may_be_shared(licence, " ")


@pytest.mark.sample
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--level", "76"), "is the one that others are held against in condition default: take --level 86"),
        (("--level", "81"), "was not recorded in condition default: take --level 86"),
        (("--level", "loud"), "--level"),
    ],
)
def test_a_level_that_says_nothing_is_refused(distort, with_music, words, says) -> None:
    ending = distort("hear", with_music, *words)
    assert ending.status in (1, 2)
    assert says in ending.err


@pytest.mark.sample
def test_what_can_be_heard_is_written_and_what_cannot_is_said(distort, with_music, tmp_path) -> None:
    """One level whose recording was cut to nothing, and results that are no longer JSON: sounds and page of the others
    are there, both are named, and the status tells."""
    session = Path(shutil.copytree(with_music, tmp_path / "monitor"))
    plan = (session / "session.toml").read_text(encoding="utf-8")
    assert "[76, 86]" in plan
    (session / "session.toml").write_text(plan.replace("[76, 86]", "[76, 81, 86]"), encoding="utf-8")
    distort.done("stimuli", session)
    spoilt = session.parent / "music_81.wav"
    take, rate = soundfile.read(with_music.parent / "music_86.wav")
    soundfile.write(spoilt, 0.5 * take, rate, subtype="FLOAT")
    words = ("--stimulus", "programme", "--level", "81", "--playback-change-db", "0")
    distort.done("add", session, spoilt, *words)
    (session / "recordings/default/programme_81dB.wav").write_bytes(b"RIFF")
    (session / "results/default").mkdir(parents=True)
    (session / "results/default/findings.json").write_text("{", encoding="utf-8")
    ending = distort("hear", session)
    assert ending.status == 1
    assert "Not done: " in ending.err
    assert "programme_81dB.wav" in ending.err
    assert "the blind test has no pair of a dip there: " in ending.err
    assert "Turn the volume down" in ending.out
    (record,) = heard_records(SessionFolder(session))
    assert record.level_db_spl == 86.0
    assert (session / "results/listening/blind.html").exists()


def test_a_session_without_music_is_told_what_to_do(distort, analysed) -> None:
    assert "write a section [programme] into session.toml" in distort.refused("hear", analysed, inside=analysed)


def test_of_a_tone_above_a_tone_what_the_closed_forms_say_is_not_masked() -> None:
    """Two third octaves: 1 kHz at 80 dB SPL beside 2 kHz at 50; and alone, above the threshold of hearing. What is
    masked lies 5.5 dB (Johnston 1988) below the spread of 1 kHz, by Schroeder's function (J. Acoust. Soc. Am. 66, 1979)
    and by the auditory filter (Glasberg and Moore 1990); what may be masked is spread alike. The model that masks more
    counts."""
    bands_hz = np.array(third_octaves_hz(100.0, 6300.0))
    quiet = {"noise_power": np.full(bands_hz.size, np.nan), "full_scale_db_spl": 100.0}
    time_s = np.arange(2 * RATE) / RATE
    masker, other = (
        10.0 ** ((level - 100.0) / 20.0) * np.sin(2.0 * np.pi * hz * time_s) for level, hz in ((80, 1000), (50, 2000))
    )
    found = over_masked(masker, other, sample_rate=RATE, bands_hz=bands_hz, **quiet)
    row = int(np.argmin(np.abs(bands_hz - 2000.0)))
    at = bands_hz[row]
    by_schroeder_db = 50.0 + float(schroeder_spread_db(0.0)) - (80.0 + float(schroeder_spread_db(bark(at) - bark(1e3))))
    erb, erb_1k = (24.7 * (4.37e-3 * hz + 1.0) for hz in (at, 1000.0))
    reach = 4.0 * at / erb * (1.0 - 0.35 * (80.0 - 51.0) / (4000.0 / erb_1k)) * (at - 1000.0) / at
    by_filter_db = 50.0 - (80.0 + 10.0 * np.log10((1.0 + reach) * np.exp(-reach)))
    expected_db = min(by_schroeder_db, by_filter_db) + 5.5
    # a Hann window of 0.1 s leaves a tone within its third octave to 0.01 dB; its neighbours get the rest
    np.testing.assert_allclose(found.remainder_db[row, 1:-1], 50.0, atol=0.05)
    np.testing.assert_allclose(found.over_db[row, 1:-1], expected_db, atol=0.1)
    unknown = over_masked(
        masker, other, sample_rate=RATE, bands_hz=bands_hz, noise_power=quiet["noise_power"], full_scale_db_spl=None
    )
    narrow = 4.0 * at / erb * (at - 1000.0) / at  # of a level that nobody knows, as at 51 dB SPL
    by_narrow_db = -30.0 - 10.0 * np.log10((1.0 + narrow) * np.exp(-narrow))
    np.testing.assert_allclose(unknown.over_db[row, 1:-1], min(by_schroeder_db, by_narrow_db) + 5.5, atol=0.1)
    noise_power = np.full(bands_hz.size, 0.5 * 10.0 ** ((51.0 - 100.0) / 10.0))  # of 51 dB SPL in each third octave
    noisy = over_masked(
        masker, other, sample_rate=RATE, bands_hz=bands_hz, noise_power=noise_power, full_scale_db_spl=100.0
    )
    assert np.all(np.isnan(noisy.over_db[row, 1:-1]))
    assert noisy.share_above == 0.0
    alone = over_masked(0.0 * masker, other, sample_rate=RATE, bands_hz=bands_hz, **quiet)
    quiet_db = float(threshold_of_hearing_db_spl(at))
    np.testing.assert_allclose(alone.over_db[row, 1:-1], 50.0 - quiet_db, atol=0.05)
    assert alone.share_above == 1.0
    assert alone.highest[0] > 50.0


def test_the_figure_shows_music_remainder_and_what_is_not_masked() -> None:
    bands_hz = np.array(third_octaves_hz(100.0, 6300.0))
    random = np.random.default_rng(1)
    music, remainder = (level * random.standard_normal(RATE) for level in (0.1, 0.01))
    masked = over_masked(
        music,
        remainder,
        sample_rate=RATE,
        bands_hz=bands_hz,
        noise_power=np.full(bands_hz.size, np.nan),
        full_scale_db_spl=None,
    )
    figure = heard_figure(heard(loudspeaker="A monitor with a long name " * 5, simulated=True), masked)
    assert_no_words_overlap(figure)
    drawn = [axes.images[0].get_array() for axes in figure.axes if axes.images]
    np.testing.assert_array_equal(drawn[0], masked.music_db)
    np.testing.assert_array_equal(drawn[1], masked.remainder_db)
    assert np.ma.count(np.ma.masked_invalid(drawn[2])) == np.count_nonzero(masked.over_db > -20.0)


@pytest.mark.sample
def test_music_is_synthesised_at_a_level_that_is_said_and_never_without_a_check(distort, analysed, tmp_path) -> None:
    piece = tmp_path / "piece.wav"
    soundfile.write(piece, 0.1 * np.sin(np.arange(6 * RATE) / 5.0), RATE)
    ending = distort("hear", analysed, "--programme", str(piece))
    assert ending.status == 2
    assert "add --level" in ending.err
    said = distort.refused("hear", analysed, "--level", "86", "--programme", str(piece), inside=analysed)
    assert "music is not synthesised in condition default" in " ".join(said.split())
