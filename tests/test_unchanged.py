"""An analysis of which nothing changed is not done again, and that is known before anything that analyses is loaded."""

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

from distort.__main__ import main
from distort.session.files.folder import SessionFolder
from distort.session.files.hashing import sha256_of_file
from distort.session.results import analysed
from distort.session.results.analysed import is_unchanged
from distort.session.results.software import HOUSE, digest_of
from tests.clumsy_session import AS_THE_SWEEP, RATE

pytest_plugins = ["tests.clumsy_fixtures"]

KEPT = "Nothing changed since these results were made"


@pytest.fixture(scope="module")
def kept(made, good, tmp_path_factory) -> Path:
    """A session that was analysed, which no test may change."""
    place = tmp_path_factory.mktemp("kept")
    session = Path(shutil.copytree(made, place / "monitor"))
    soundfile.write(place / "take.wav", good, RATE, subtype="FLOAT")
    assert main(["add", str(session), str(place / "take.wav"), *AS_THE_SWEEP]) == 0
    assert main(["analyze", str(session)]) == 0
    return session


@pytest.fixture
def once(kept, tmp_path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(kept, tmp_path / "monitor"))


@pytest.mark.sample
def test_results_stand_until_something_changes(distort, once) -> None:
    before = {path: path.stat().st_mtime_ns for path in (once / "results").rglob("*") if path.is_file()}
    said = distort.done("analyze", once)
    assert said.startswith(KEPT)
    assert "--again" in said
    assert "Tables are in" in said
    assert {path: path.stat().st_mtime_ns for path in before} == before
    assert KEPT not in distort.done("analyze", once, "--again")
    assert KEPT in distort.done("analyze", once, "--condition", "default")
    (once / "results/default/harmonics_86dB.csv").write_text("frequency_hz\n", encoding="utf-8")
    assert KEPT not in distort.done("analyze", once)
    plan = once / "session.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert KEPT not in distort.done("analyze", once)


def test_for_machines_the_same_document_either_way(distort, once) -> None:
    kept, anew = (distort.done("analyze", once, "--json", *words) for words in ((), ("--again",)))
    assert json.loads(kept) == json.loads(anew)


def test_a_condition_that_is_not_there_is_refused_as_ever(distort, once) -> None:
    said = distort.refused("analyze", once, "--condition", "desk", inside=once)
    assert "has no recordings of condition 'desk'" in said


def test_a_response_file_that_the_plan_names_is_an_input(distort, once) -> None:
    (once / "elsewhere.csv").write_text("20,0\n1000,1\n20000,0\n", encoding="utf-8")
    plan = once / "session.toml"
    text = plan.read_text(encoding="utf-8").replace("[analysis]", '[analysis]\nresponse_files = ["elsewhere.csv"]')
    plan.write_text(text, encoding="utf-8")
    assert KEPT not in distort.done("analyze", once)
    folder = SessionFolder(once)
    assert is_unchanged(folder)
    (once / "elsewhere.csv").write_text("20,0\n1000,2\n20000,0\n", encoding="utf-8")
    assert not is_unchanged(folder)
    (once / "elsewhere.csv").unlink()
    assert not is_unchanged(folder)


@pytest.mark.parametrize(
    "name",
    ["../secret", "session.toml", "results/default/../../session.toml", "results/compare/a.csv", "results/a.csv"],
)
def test_a_note_that_names_what_no_analysis_writes_is_not_believed(once, name) -> None:
    """And not followed, though its hash be right: whoever sent the session may have written it."""
    note, named = once / "results/analysed.json", once / name
    document = json.loads(note.read_text(encoding="utf-8"))
    assert is_unchanged(SessionFolder(once))
    if not named.exists():
        named.parent.mkdir(exist_ok=True)
        named.write_text("a", encoding="utf-8")
    document["results"].append({"file": name, "sha256": sha256_of_file(named)})
    note.write_text(json.dumps(document), encoding="utf-8")
    assert not is_unchanged(SessionFolder(once))


@pytest.fixture(scope="module")
def house(tmp_path_factory) -> Path:
    """A copy of the code."""
    place = tmp_path_factory.mktemp("house")
    for package in ("distort", "signals"):
        shutil.copytree(HOUSE / package, place / package, ignore=shutil.ignore_patterns("__pycache__"))
    return place


def touched(house: Path, module: str) -> str:
    """The digest with one more line in `module`, which is taken back."""
    path = house / module
    before = path.read_bytes()
    path.write_bytes(before + b"# another line\n")
    try:
        return digest_of(house)
    finally:
        path.write_bytes(before)


@pytest.mark.first(4)
@pytest.mark.parametrize(
    ("module", "old"),
    [
        ("distort/capture/devices/sound_card.py", False),
        ("distort/capture/simulated/woofer.py", False),
        ("distort/notebook.py", False),
        ("distort/archive.py", False),
        ("distort/report/text/numbers.py", False),
        ("distort/commands/analyze.py", False),
        ("distort/analysis/sweep/harmonics.py", True),
        ("distort/recording/alignment/clock.py", True),
        ("distort/session/audio/resampling.py", True),
        ("distort/assembly/condition/curves.py", True),
        ("distort/pipeline.py", True),
        ("signals/sweep.py", True),
    ],
)
def test_only_code_that_computes_makes_numbers_old(kept, house, monkeypatch, module, old) -> None:
    """Sound cards, pages and the notebook compute none; a line more in what does, and results are made anew."""
    monkeypatch.setattr(analysed, "software", lambda: digest_of(HOUSE))
    folder = SessionFolder(kept)
    note = analysed.read_analysed(folder)
    assert note is not None
    monkeypatch.setattr(analysed, "read_analysed", lambda folder: replace(note, software=digest_of(house)))
    assert is_unchanged(folder)
    monkeypatch.setattr(analysed, "software", lambda: touched(house, module))
    assert is_unchanged(folder) != old


def test_it_is_known_before_anything_is_loaded_that_computes(kept) -> None:
    """Each of these takes from a tenth of a second to half of one."""
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from distort.session.files.folder import SessionFolder\n"
        "from distort.session.results.analysed import is_unchanged\n"
        f"assert is_unchanged(SessionFolder(Path({str(kept)!r})))\n"
        "heavy = {'numpy', 'scipy', 'soundfile', 'rich', 'signals', 'distort.analysis.sweep', 'distort.pipeline'}\n"
        "sys.stderr.write(' '.join(sorted(heavy & set(sys.modules))))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=HOUSE, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
