"""Several draws of a multitone's phases: how far one scatters, and a session that plays three of them."""

import numpy as np
import pytest
import soundfile

from distort.analysis.multitone.draws import EVEN_DB, EXPECTED_FREEDOM, ODD_DB, draws_variance
from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.measuring.completeness import check_session
from distort.capture.measuring.playing import measure
from distort.capture.measuring.starting import Choice
from distort.errors import PlanError
from distort.session.files.folder import SessionFolder
from distort.session.plan.kinds import PLAYED, multitone_headroom_dbfs
from distort.session.plan.reading import plan_from_text, read_plan
from distort.session.plan.template import plan_text
from distort.session.recordings.stimulus_files import planned
from distort.session.recordings.stored import load_recordings
from signals import Multitone
from tests.clumsy_session import RATE, CommandLine, heard, shorten, table
from tests.devices.scaled import ScaledLoudspeaker
from tests.interval_study import curve_in_room

DB = 10.0 / np.log(10.0)


def test_one_draw_has_the_expected_scatter_and_several_their_own_beside_it():
    """Draws 2 dB apart: variance 2 dB^2 with one degree of freedom, beside 1.3^2 with three; of the mean half of it."""
    np.testing.assert_allclose(draws_variance(np.ones((1, 4)), expected_db=1.3), (1.3 / DB) ** 2, rtol=1e-12)
    found = draws_variance(np.array([[1.0], [10**0.2]]), expected_db=1.3)
    np.testing.assert_allclose(found, (3 * 1.69 + 2.0) / 4 / 2 / DB**2, rtol=1e-9)
    assert EXPECTED_FREEDOM == 3.0


def scatter_db(seed: int, draws: int) -> dict[str, np.ndarray]:
    """Even and odd power of a curve between filters, each draw re the mean of all, `(draws, bands)`, by bins alone."""
    device = curve_in_room(seed, "no room")
    found: dict[str, list[list[float]]] = {"even": [], "odd": []}
    for draw in range(draws):
        tone = Multitone(realisation=draw, drive_dbfs=-15.0)
        spectrum = np.fft.rfft(tone.period())
        hz = np.arange(spectrum.size) / tone.period_s
        for one in device.before:
            spectrum = spectrum * one.at(hz)
        driven = np.fft.irfft(spectrum, tone.period_samples)
        heard = sum(power * driven**k for k, power in enumerate(device.powers, start=1))
        power = np.abs(np.fft.rfft(heard)) ** 2
        power[tone.line_bins] = 0.0
        for first, name in enumerate(found):
            free = np.where(np.arange(power.size) % 2 == first, power, 0.0)
            middles_hz = 1000.0 * 10.0 ** (np.arange(-15, 14) / 10.0)
            found[name].append([float(np.sum(free[(hz >= m / 1.122) & (hz < m * 1.122)])) for m in middles_hz])
    return {name: 10 * np.log10(np.array(all_) / np.mean(all_, axis=0)) for name, all_ in found.items()}


@pytest.mark.parametrize("seeds", [range(2), pytest.param(range(2, 12), marks=pytest.mark.study)])
def test_the_expected_scatter_is_that_of_curves_between_filters(seeds):
    """Even 0.3 to 0.7 dB r.m.s., where 0.5 is expected; odd not above 1.3, which holds for loudspeakers too."""
    found = [scatter_db(seed, 8) for seed in seeds]
    even, odd = (
        float(np.sqrt(np.mean([np.square(one[name]) for one in found])) * np.sqrt(8 / 7)) for name in ("even", "odd")
    )
    print(f"\nscatter of a draw, dB r.m.s.: even {even:.2f}, odd {odd:.2f}")
    assert 0.3 < even < 0.7
    assert 0.6 < odd < ODD_DB
    assert EVEN_DB == 0.5


@pytest.fixture
def folder(tmp_path, capsys) -> SessionFolder:
    """70 dB SPL, short stimuli, two draws of the multitone, a calibrated wire that gives 120 dB SPL at full scale."""
    made = SessionFolder(tmp_path / "monitor")
    CommandLine(capsys).done("new", made.root, "--levels", "70")
    shorten(made.root, rest_s="0.0", period_s="0.25", orders="4", seconds="1.6", realisations="2")
    tone = 10.0 ** ((94.0 - 120.0) / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    calibrate_from_samples(made, tone, RATE, db_spl=94.0, device="scaled", replace=True)
    return made


@pytest.mark.sample
def test_two_draws_are_played_checked_averaged_and_shown(folder, capsys):
    distort, plan = CommandLine(capsys), read_plan(folder.root)
    measure(folder, plan, ScaledLoudspeaker(), Choice(condition="default"), progress=lambda what, done, total: None)
    tones = [
        (one.sidecar.name.stem, one.sidecar.stimulus.realisation)
        for one in load_recordings(folder, "default")
        if one.sidecar.stimulus_name != "sweep"
    ]
    assert tones == [("multitone_70dB", 0), ("multitone-2_70dB", 1)]
    assert not check_session(folder, plan).wanted
    distort.done("analyze", folder.root)
    assert "mean of 2 recordings of 2 draws of the phases" in distort.done("show", folder.root, "multitone")
    columns = table(folder.results_folder("default") / "multitone_70dB.csv")
    there = np.isfinite(columns["even_db"])
    beside_db = np.sqrt(columns["even_uncertainty_db"] ** 2 - columns["even_noise_uncertainty_db"] ** 2)
    least_db = 1.96 * EVEN_DB * np.sqrt(EXPECTED_FREEDOM / (EXPECTED_FREEDOM + 1) / 2)  # as if both said the same
    assert np.all(beside_db[there] > 0.99 * least_db)
    for path in folder.recordings_folder("default").glob("multitone-2_*"):
        path.unlink()
    assert [one.name.stem for one in check_session(folder, plan).wanted] == ["multitone-2_70dB"]


@pytest.mark.sample
def test_draws_are_brought_in_one_by_one_and_by_a_reel(folder, capsys, tmp_path):
    distort = CommandLine(capsys)
    said = distort.done("stimuli", folder.root)
    assert "multitone-2_70dB.wav" in said
    assert "period 0.25 s, crest factor " in said
    soundfile.write(tmp_path / "take.wav", heard(folder.root / "stimuli/multitone-2_70dB.wav"), RATE, subtype="FLOAT")
    distort.done("add", folder.root, tmp_path / "take.wav", "--stimulus", "multitone-2", "--level", "70")
    distort.done("stimuli", folder.root, "--reel")
    soundfile.write(tmp_path / "reel.wav", heard(folder.root / "stimuli/reel.wav"), RATE, subtype="FLOAT")
    distort.done("add", folder.root, "--reel", tmp_path / "reel.wav", "--playback-change-db", "0")
    names = [one.sidecar.name.stem for one in load_recordings(folder, "default")]
    assert {"multitone_70dB", "multitone-2_70dB", "multitone-2_70dB_take2"} <= set(names)


def test_a_plan_without_the_key_plays_what_it_played(folder):
    """One draw, under the name that it always had; a draw that no plan asks for needs no headroom."""
    plan = plan_from_text(plan_text(name="Monitor A", levels_db_spl=(76.0,)), source="a plan")
    assert plan.multitone.realisations == 1
    assert [one.stem for one in planned(plan, {76.0: -30.0})] == ["sweep_76dB", "sweep-short_76dB", "multitone_76dB"]
    assert multitone_headroom_dbfs(plan, 1) == np.inf
    assert multitone_headroom_dbfs(read_plan(folder.root), 1) < 0.0
    text = plan_text(name="Monitor A", levels_db_spl=(76.0,)).replace("realisations = 1 ", "realisations = 9 ")
    with pytest.raises(PlanError, match="realisations"):
        plan_from_text(text, source="a plan")


def test_thirty_lines_a_decade_state_their_period_and_crest_factor():
    """A plan of 2 s says which period would do; with 4 s it plays 91 lines, 20 Hz to 20 kHz, and tells their crest."""
    text = plan_text(name="Monitor A", levels_db_spl=(76.0,)).replace("lines_per_decade = 10", "lines_per_decade = 30")
    with pytest.raises(PlanError, match="take period_s = 4"):
        plan_from_text(text, source="a plan")
    plan = plan_from_text(text.replace("period_s = 2", "period_s = 4"), source="a plan")
    kind = next(one for one in PLAYED if one.name == "multitone")
    tone = kind.made(plan, -40.0)
    assert kind.facts(tone) == f"91 lines, 30 a decade, period 4 s, crest factor {tone.crest_factor_db:.1f} dB"
    wave = tone.period()
    peak_db = 20.0 * np.log10(np.max(np.abs(wave)) / np.sqrt(np.mean(wave**2)))
    # samples miss the crest of the continuous wave by little
    assert tone.crest_factor_db == pytest.approx(peak_db, abs=0.1)
