"""What the page plays of a rattle: a cut of the recording without the sweep, or why there is none."""

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from distort.analysis.findings.finding import PlaceFound
from distort.analysis.sweep.touched import EventInTime
from distort.assembly.condition.residual_sound import LONGEST_S, residual_sound
from distort.report.page.by_itself import by_themselves
from distort.report.page.listening import Play
from distort.report.page.rendering import rendered
from distort.report.page.what_was_found import chapters
from distort.report.text.story import told
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import load_recordings
from distort.session.results.condition_results import ConditionResults, read_results
from distort.session.results.foreign_found import EventFound
from tests.test_fault_changes import RISE

pytest_plugins = ["tests.small_sessions"]

BESIDE_S = 0.05
"""Beside the place: the sweep passes 28 to 640 Hz, of which there is sound, in 0.6 s."""

LOW_HZ, HIGH_HZ = 80.0, 120.0


@pytest.fixture(scope="module")
def folder(analysed) -> SessionFolder:
    return SessionFolder(analysed)


@pytest.fixture(scope="module")
def results(folder) -> ConditionResults:
    """With a rattle found, at the highest level."""
    there = read_results(folder, "default")
    rattle = replace(
        RISE,
        number=1,
        explanation="rattle",
        part_of_loudspeaker=True,
        headline="80 to 120 Hz: something rattles",
        places=(PlaceFound(frequency_hz=98.0, low_hz=LOW_HZ, high_hz=HIGH_HZ),),
        numbers={"level_db_spl": 76.0, "standing_out": 30.0},
        evidence=(),
    )
    return replace(there, findings=replace(there.findings, findings=(rattle,)))


def heard(folder: SessionFolder, results: ConditionResults) -> Play | str:
    return by_themselves(folder, told([results]), [results])[1]


def test_it_lasts_while_the_sweep_plays_the_place_and_its_peak_is_12_db_below_full_scale(
    folder, results, monkeypatch
) -> None:
    monkeypatch.setattr("distort.assembly.condition.residual_sound.BESIDE_S", BESIDE_S)
    play = heard(folder, results)
    assert isinstance(play, Play)
    assert "while 80 to 120 Hz plays, without the sweep. Recorded at 76 dB SPL, condition default." in play.name
    assert "turn the volume down" in play.name
    samples, rate = soundfile.read(io.BytesIO(base64.b64decode(play.address.partition(",")[2])))
    (sweep,) = (
        one.sidecar.stimulus
        for one in load_recordings(folder, "default")
        if (one.sidecar.stimulus_name, one.sidecar.level_db_spl) == ("sweep", 76.0)
    )
    plays_s = sweep.rate_s * np.log(HIGH_HZ / LOW_HZ)  # an exponential sweep: t = L ln(f / f1)
    assert samples.size == pytest.approx((plays_s + 2.0 * BESIDE_S) * rate, abs=2.0)  # both ends are rounded
    # but for a step of 16 bits and the dither's one
    np.testing.assert_allclose(np.max(np.abs(samples)), 10.0 ** (-12.0 / 20.0), atol=2.0**-14)
    assert np.max(np.abs(samples[[0, -1]])) <= 2.0**-14  # faded


def test_of_a_long_one_the_loudest_stretch_is_cut(folder, monkeypatch) -> None:
    whole = residual_sound(folder, "default", 76.0, while_hz=(LOW_HZ, HIGH_HZ))
    monkeypatch.setattr("distort.assembly.condition.residual_sound.LONGEST_S", 0.2)
    short = residual_sound(folder, "default", 76.0, while_hz=(LOW_HZ, HIGH_HZ))
    assert whole.samples.size < LONGEST_S * whole.sample_rate
    assert short.samples.size == round(0.2 * short.sample_rate)
    apart = np.correlate(whole.samples, short.samples, mode="valid")
    begin = int(np.argmax(apart))
    energy = np.convolve(np.square(whole.samples), np.ones(short.samples.size), mode="valid")
    assert energy[begin] > 0.9 * np.max(energy)  # the fades take a tenth of the short one


def test_beside_another_sound_or_without_a_recording_it_says_why(folder, results) -> None:
    file = next(
        one.files.in_session
        for one in load_recordings(folder, "default")
        if (one.sidecar.stimulus_name, one.sidecar.level_db_spl, one.sidecar.after) == ("sweep", 76.0, False)
    )
    event = EventInTime(start_s=0.0, end_s=0.2, low_hz=20.0, high_hz=30.0, level_dbfs=-40.0, touched=())
    voice = EventFound(file=file, level_db_spl=76.0, loudest_db_spl=None, event=event)
    said = heard(folder, replace(results, findings=replace(results.findings, events=(voice,))))
    assert said == "Its sound is not in this page: something else sounds in that recording, too."
    said = heard(folder, replace(results, findings=replace(results.findings, recordings=())))
    assert said == "Its sound is not in this page: the recording is another one than was analysed."
    (rattle,) = results.findings.findings
    elsewhere = replace(rattle, numbers=rattle.numbers | {"level_db_spl": 75.0})
    said = heard(folder, replace(results, findings=replace(results.findings, findings=(elsewhere,))))
    assert "has no sweep at 75 dB SPL" in said


def test_the_article_plays_it_and_shows_what_stands_out(folder, results) -> None:
    story = told([results])
    for sound, holds in ((Play(name="The rattle", address="data:audio/flac;base64,AAAA"), "<audio"), ("Why.", "Why.")):
        ((chapter,),) = [chapters(story, [results], sounds={1: sound})]
        (article,) = chapter.articles
        assert holds in rendered("article.html.j2", one=article)
        (panel,) = article.panels
        found = results.further["impulsive"].levels[-1]
        shown = panel.key[0].values  # the loudest level is the first
        np.testing.assert_allclose(shown, 20.0 * np.log10(np.maximum(found.z, 1.0)))
