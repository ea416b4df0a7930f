"""`import distort` in a notebook: the same numbers, tables and figures as the commands give."""

import doctest
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import distort
import distort.notebook
from distort.errors import UsageError
from tests.clumsy_session import table

pytestmark = pytest.mark.sample

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    """The demo session, analysed by the examples of the docstring, which must hold."""
    place = tmp_path_factory.mktemp("notebook")
    shutil.copytree(ROOT / "demo_recordings", place / "demo_recordings", ignore=shutil.ignore_patterns("results"))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        examples = doctest.testmod(distort.notebook)
    assert examples.attempted > 5
    assert examples.failed == 0
    return place / "demo_recordings"


@pytest.fixture(scope="module")
def session(demo) -> distort.notebook.Session:
    return distort.load(demo)


def test_columns_are_those_of_the_tables(session, demo) -> None:
    written = table(demo / "results/stand/harmonics_96dB.csv")
    curves = session["stand"].harmonics(96)
    assert curves.columns == tuple(written)
    for name, values in written.items():
        np.testing.assert_array_equal(curves[name], values)


def test_a_column_is_the_callers_own(session) -> None:
    curves = session["stand"].harmonics(96)
    curves["h3_db"][:] = 0.0
    assert np.nanmax(curves["h3_db"]) < -10.0


def test_everything_shows_as_text_and_as_html(session) -> None:
    stand = session["stand"]
    shown = [session, stand, stand.response(86), stand.harmonics(86), stand.multitone(86), stand.compression()]
    for one in shown:
        text = repr(one)
        assert "stand" in text
        assert max(map(len, text.splitlines()[:1])) > 20
        assert one._repr_html_().startswith("<pre>")
    assert "<H2" not in stand.harmonics(86)._repr_html_()


def test_every_kind_of_curve_draws_itself(session) -> None:
    stand = session["stand"]
    for curves in (stand.response(86), stand.harmonics(86), stand.multitone(86), stand.compression("multitone")):
        assert curves.draw().axes


def test_what_is_not_there_is_said(session, tmp_path) -> None:
    stand = session["stand"]
    for ask in (
        lambda: session["roof"],
        lambda: stand.harmonics(87),
        lambda: stand.multitone(87),
        lambda: stand.compression("burst"),
        lambda: stand.response(86)["h99_db"],
    ):
        with pytest.raises(UsageError, match=r"there (is|are)"):
            ask()


def test_a_table_converts_to_pandas(session) -> None:
    curves = session["stand"].response(86)
    frame = curves.to_pandas()
    assert frame.index.name == "frequency_hz"
    np.testing.assert_array_equal(frame["level_db_spl"].to_numpy(), curves["level_db_spl"])


def test_pandas_is_optional(session, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(UsageError, match="pip install pandas"):
        session["stand"].response(86).to_pandas()


def test_import_distort_loads_nothing_heavy() -> None:
    heavy = "[name for name in ('numpy', 'scipy', 'rich', 'matplotlib') if name in sys.modules]"
    done = subprocess.run(
        [sys.executable, "-c", f"import sys, distort; print({heavy})"], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
