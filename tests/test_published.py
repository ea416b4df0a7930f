"""Numbers that were published: frozen, explained, bundled."""

import json
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest

from distort.__main__ import main
from distort.analysis.common.grid import grid_hz
from distort.errors import SessionError
from distort.notebook import load
from distort.report.text.numbers import hertz_words
from distort.session.results import software as software_module
from distort.session.results.software import Software
from tests.clumsy_session import AS_THE_SWEEP, contents, heard, shorten, table

pytest_plugins = ["tests.clumsy_fixtures"]


@pytest.fixture(scope="module")
def analysed(made, tmp_path_factory) -> Path:
    """A session of one recording with its results, which no test may change."""
    import soundfile

    session = Path(shutil.copytree(made, tmp_path_factory.mktemp("analysed") / "monitor"))
    take = session.parent / "take.wav"
    soundfile.write(take, heard(session / "stimuli/sweep_86dB.wav"), 48000, subtype="FLOAT")
    assert main(["add", str(session), str(take), *AS_THE_SWEEP]) == 0
    assert main(["analyze", str(session)]) == 0
    return session


@pytest.fixture
def own(analysed, tmp_path) -> Path:
    """A copy to spoil."""
    return Path(shutil.copytree(analysed, tmp_path / "monitor"))


def results_of(session: Path) -> dict[str, bytes]:
    """What was found; not when, and from which files on this disk."""
    return {name: what for name, what in contents(session / "results").items() if name != "analysed.json"}


def test_what_is_frozen_is_what_analyze_writes(distort, own) -> None:
    said = distort.done("freeze", own, "issue-12")
    kept = own / "frozen/issue-12"
    assert contents(kept / "results") == results_of(own)
    assert "Kept 4 files of results" in said
    record = json.loads((kept / "frozen.json").read_text(encoding="utf-8"))
    inputs = {one["file"] for one in record["inputs"]}
    assert inputs == {"session.toml", "recordings/default/sweep_86dB.wav", "recordings/default/sweep_86dB.json"}
    assert {"distort", "Python", "numpy", "scipy", "soundfile"} == {one["name"] for one in record["software"]}


def test_an_analysis_of_the_same_inputs_gives_the_same_numbers_and_says_so(distort, own) -> None:
    distort.done("freeze", own, "issue-12")
    assert "Every number is the same as in what was frozen as issue-12" in distort.done("analyze", own)


def test_what_differs_is_told_with_place_and_reason(distort, own) -> None:
    distort.done("freeze", own, "issue-12")
    shorten(own, short="true", orders="4", smoothing='"1/3"')
    said = distort.done("analyze", own)
    assert 'session.toml: analysis.smoothing was "1/12", is "1/3"' in said
    then = table(own / "frozen/issue-12/results/default/response_86dB.csv")["level_dbfs"]
    now = table(own / "results/default/response_86dB.csv")["level_dbfs"]
    at = int(np.nanargmax(np.abs(then - now)))
    line = next(line for line in said.splitlines() if "response_86dB.csv" in line)
    assert f"most in level_dbfs at {hertz_words(grid_hz()[at])}, {then[at]:g} then, {now[at]:g} now" in line


SAYS_NOTHING = [b"\xff", b"[", b"[" * 90_000, b"a." * 40_000 + b"a = 1"]


@pytest.mark.first(1)
@pytest.mark.parametrize("spoilt", SAYS_NOTHING, ids=range(4))
def test_an_input_that_no_longer_says_anything_is_another_file(distort, own, spoilt) -> None:
    """As it was frozen: what a plan of then said is not known any more."""
    distort.done("freeze", own, "issue-12")
    shorten(own, short="true", orders="4", smoothing='"1/3"')
    (own / "frozen/issue-12/inputs/session.toml").write_bytes(spoilt)
    said = distort.done("analyze", own)
    assert "session.toml is another file" in said
    assert max(map(len, said.replace(str(own), "").splitlines())) < 300


def test_a_new_version_of_a_library_is_a_reason(distort, own, monkeypatch) -> None:
    distort.done("freeze", own, "issue-12")
    here = software_module.software_here
    newer = lambda: (*here()[:-1], Software(name="soundfile", version="99"))  # noqa: E731
    monkeypatch.setattr(software_module, "software_here", newer)
    shorten(own, short="true", orders="3")
    said = distort.done("analyze", own)
    assert "is 99" in said
    assert "analysis.orders was 4, is 3" in said


@pytest.mark.study
def test_a_rejected_recording_is_a_reason(distort, own, good, tmp_path) -> None:
    import soundfile

    soundfile.write(tmp_path / "again.wav", good * 0.999, 48000, subtype="FLOAT")
    distort.done("add", own, tmp_path / "again.wav", *AS_THE_SWEEP)
    distort.done("freeze", own, "issue-12")
    distort.done("reject", own, "default/sweep_86dB_take2", "--reason", "a lorry passed")
    said = distort.done("analyze", own)
    assert 'recordings/default/sweep_86dB_take2.json: rejected was nothing, is "a lorry passed"' in said


def test_a_label_is_never_taken_twice_and_never_leads_out(distort, own) -> None:
    distort.done("freeze", own, "issue-12")
    assert "never overwritten" in distort.refused("freeze", own, "issue-12", inside=own)
    for label in ("../out", "a/b", "", ".hidden"):
        said = distort.refused("freeze", own, label, inside=own.parent, status=2)
        assert "cannot be a label" in said


def test_a_frozen_table_that_was_changed_is_told(distort, own) -> None:
    distort.done("freeze", own, "issue-12")
    path = own / "frozen/issue-12/results/default/response_86dB.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("1", "2"), encoding="utf-8")
    ending = distort("analyze", own)
    assert ending.status == 1
    assert "was changed since it was frozen" in ending.err


def test_an_analysis_that_fails_leaves_nothing_frozen(distort, own) -> None:
    (own / "recordings/default/sweep_86dB.wav").write_bytes(b"no audio")
    before = contents(own)
    assert distort("freeze", own, "issue-12").status == 1
    assert {name: what for name, what in contents(own).items() if name != "frozen"} == before


def test_trace_names_the_row_its_floors_and_its_recording(distort, own) -> None:
    said = distort.done("origin", own, "h2", "--hz", "1000", "--level", "86")
    row = table(own / "results/default/harmonics_86dB.csv")
    at = int(abs(row["frequency_hz"] - 1000.0).argmin())
    assert f"{row['h2_db'][at]:.1f} dB re the fundamental" in said.splitlines()[0]
    assert f"+- {row['h2_uncertainty_db'][at]:.2f} dB" in said
    sidecar = json.loads((own / "recordings/default/sweep_86dB.json").read_text(encoding="utf-8"))
    assert sidecar["recording_sha256"][:16] in said
    assert "as analysed" in said
    (own / "recordings/default/sweep_86dB.wav").write_bytes(b"another")
    after = distort("origin", own, "h2", "--hz", "1000", "--level", "86")
    assert "CHANGED" in after.out
    assert "Careful: recordings/default/sweep_86dB.wav changed since these results were made." in after.err


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("h7", "--hz", "1000", "--level", "86"), "no quantity of these tables"),
        (("g3", "--hz", "1000", "--level", "86"), "no quantity of these tables"),
        (("h2", "--hz", "1000", "--level", "96"), "no level of 96"),
        (("h2", "--hz", "30000", "--level", "86"), "has no row"),
    ],
)
def test_a_number_that_is_not_there_has_no_origin(distort, own, words, reason) -> None:
    assert reason in distort.refused("origin", own, *words, status=2, inside=own)


def test_what_is_in_a_bundle_gives_the_same_results(distort, own, tmp_path) -> None:
    plan = own / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "# the landlord must not know\n", encoding="utf-8")
    (own / "recordings/default/my notes.txt").write_text("mine", encoding="utf-8")
    said = distort.done("bundle", own, "--to", tmp_path / "check.zip")
    assert "Packed" in said
    with zipfile.ZipFile(tmp_path / "check.zip") as archive:
        archive.extractall(tmp_path / "reader")
    unpacked = tmp_path / "reader/check"
    everything = b"".join(contents(unpacked).values())
    assert b"landlord" not in everything
    assert b"mine" not in everything
    distort.done("analyze", unpacked)
    assert results_of(unpacked) == results_of(own)


def test_the_same_session_gives_the_same_bundle_and_none_is_overwritten(distort, own, tmp_path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        distort.done("bundle", own, "--to", tmp_path / name / "check.zip")
    assert (tmp_path / "one/check.zip").read_bytes() == (tmp_path / "two/check.zip").read_bytes()
    said = distort.refused("bundle", own, "--to", tmp_path / "one/check.zip", inside=tmp_path)
    assert "never overwritten" in said


def test_a_session_without_recordings_is_told_and_left_as_it_was(distort, made, tmp_path) -> None:
    session = Path(shutil.copytree(made, tmp_path / "monitor"))
    for words in (("freeze", session, "issue-12"), ("compare", session, session)):
        assert "has no recordings yet" in distort.refused(*words, inside=session)
    with pytest.raises(SessionError, match="has no results yet"):
        load(session)
