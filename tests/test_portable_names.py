"""Names that one system refuses are refused on every system, in a sentence; those that the program gives are none."""

import ntpath
import sys
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from distort.errors import PlanError, SessionError, UsageError
from distort.session.files.atomic import temporary_beside
from distort.session.files.folder import SessionFolder
from distort.session.files.lock import LOCK_FILE
from distort.session.files.names import check_condition
from distort.session.files.portable import DEVICES, alike, fault_of, fault_of_path, leads_out, twin_of
from distort.session.plan.reading import plan_from_text
from distort.session.plan.rules import conditions, file_inside

pytest_plugins = ["tests.clumsy_fixtures"]

ROOT = Path(__file__).resolve().parent.parent

DEVICE_NAMES = ["con", "CON", "Prn", "aux", "NUL", "com1", "COM9", "lpt1", "LPT9", "COM¹", "lpt³", "CONIN$", "conout$"]
SPELT = ["{}", "{}.txt", "{}.tar.gz", "{} .txt", "{}. txt"]
OTHER_NAMES = ["a.", "a ", "...", *(f"a{each}b" for each in '<>:"/\\|?*\0\x01\x1f\x7f\n')]
GOOD_NAMES = [
    "monitor",
    "con1",
    "console",
    "com10",
    "com",
    "aux-in",
    "a.con",
    "nul_1",
    "lpt",
    "größe",
    "a b",
    ".a",
    "²",
]


def reserved_says_python(name: str) -> bool:
    """By the standard library: what its PureWindowsPath, or from 3.13 on its ntpath, holds to be reserved."""
    if sys.version_info >= (3, 13):
        return bool(ntpath.isreserved(name))
    return PureWindowsPath(name).is_reserved()


@pytest.mark.parametrize("name", [each.format(name) for name in DEVICE_NAMES for each in SPELT])
def test_what_windows_keeps_for_itself_with_any_ending(name: str) -> None:
    assert reserved_says_python(name)
    assert "for itself" in str(fault_of(name))


@pytest.mark.parametrize("name", OTHER_NAMES)
def test_what_windows_does_not_take(name: str) -> None:
    assert "Windows" in str(fault_of(name))


@pytest.mark.parametrize("name", GOOD_NAMES)
def test_what_every_system_takes(name: str) -> None:
    assert not reserved_says_python(name)
    assert fault_of(name) is None


@given(
    st.one_of(
        st.sampled_from(sorted(DEVICES)),
        st.text(st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="/\\:"), min_size=1, max_size=8),
    ),
    st.sampled_from(["", " ", ".", ".x", " .x"]),
)
def test_nothing_that_python_holds_to_be_reserved_passes(name: str, ending: str) -> None:
    if reserved_says_python(name + ending):
        assert fault_of(name + ending) is not None


def test_paths() -> None:
    assert fault_of_path("calibration/mic 1.txt") is None
    assert "keeps the name AUX" in str(fault_of_path("calibration/aux.txt"))
    assert "keeps the name CON" in str(fault_of_path("con/mic.txt"))
    assert "separated by /" in str(fault_of_path("calibration\\mic.txt"))


@pytest.mark.parametrize(
    "path", ["/a", "../a", "a/../../b", "\\a", "..\\a", "a\\..\\b", "C:a", "C:\\a", "\\\\server\\a\\b"]
)
def test_what_leads_out_on_any_system(tmp_path: Path, path: str) -> None:
    assert leads_out(path)
    with pytest.raises(SessionError, match="leads out of the session"):
        SessionFolder(tmp_path).inside(path)
    with pytest.raises(ValueError, match="inside the session folder"):
        file_inside(path)


@given(st.text(alphabet="./\\:aC ~é", max_size=8))
def test_whether_a_path_leads_out_is_what_pythons_paths_of_both_systems_say(path: str) -> None:
    """An anchor begins anew; a step up is `..`."""
    both = (PurePosixPath(path), PureWindowsPath(path))
    assert leads_out(path) == any(bool(pure.anchor) or ".." in pure.parts for pure in both)


def test_names_that_are_one_file_elsewhere() -> None:
    assert alike("Größe") == alike("GRÖßE")
    assert alike("é") == alike("e\u0301")  # HFS+ keeps the second spelling of the first
    assert alike("a") != alike("á")
    assert twin_of("Desk", ["stand", "Desk", "desk"]) == "desk"
    assert twin_of("Desk", ["stand", "Desk"]) is None


class TestWhereTheyAreRefused:
    @pytest.mark.parametrize("name", ["aux", "COM1", "nul.x", "x.", "x ", "a:b", "a?b", "a\\b", "LPT¹"])
    def test_the_folder_of_a_session(self, distort, tmp_path, name) -> None:
        said = distort.refused("new", tmp_path / name, status=2, inside=tmp_path)
        assert f"{name!r} cannot name a session: Windows " in said
        assert "choose another name" in said

    def test_the_folder_in_which_one_stands(self, distort, tmp_path, monkeypatch) -> None:
        (tmp_path / "nul").mkdir()
        monkeypatch.chdir(tmp_path / "nul")
        assert "'nul' cannot name a session" in distort.refused("new", ".", status=2, inside=tmp_path)

    def test_a_session_beside_one_that_differs_by_capitals_alone(self, distort, tmp_path) -> None:
        distort.done("new", tmp_path / "monitor")
        said = distort.refused("new", tmp_path / "Monitor", status=2, inside=tmp_path)
        assert "'Monitor' and 'monitor', which is there, are one folder on other systems" in said
        distort.done("new", tmp_path / "monitor-b")

    @pytest.mark.parametrize("label", ["aux", "com1.x", "Spring.", "nul"])
    def test_a_label(self, distort, made, label) -> None:
        said = distort.refused("freeze", made, label, status=2, inside=made)
        assert f"{label!r} cannot be a label: Windows " in said

    def test_a_label_that_differs_by_capitals_alone(self, distort, session) -> None:
        (session / "frozen/spring").mkdir(parents=True)
        said = distort.refused("freeze", session, "Spring", status=2, inside=session)
        assert "'Spring' and 'spring', which is there, are one folder on other systems: choose another label" in said

    @pytest.mark.parametrize("name", ["aux", "NUL", "com1", "Lpt9"])
    def test_a_condition(self, distort, tmp_path, name) -> None:
        said = distort.refused("new", tmp_path / "a", "--conditions", f"desk,{name}", status=2, inside=tmp_path)
        assert f"Windows keeps the name {name.upper()} for itself" in said
        with pytest.raises(SessionError, match="cannot name a condition: Windows keeps"):
            check_condition(name)

    def test_conditions_that_differ_by_capitals_alone(self) -> None:
        with pytest.raises(ValueError, match="differ by more than capitals"):
            conditions(["desk", "Desk"])

    @pytest.mark.parametrize(
        ("line", "says"),
        [
            ('response_files = ["calibration/aux.txt"]', "Windows keeps the name AUX for itself"),
            ('response_files = ["calibration/LPT².csv"]', "Windows keeps the name LPT² for itself"),
            ('response_files = ["con.d/a.csv"]', "Windows keeps the name CON for itself"),
            ('response_files = ["calibration/a?.csv"]', "Windows allows no '?' in names"),
            ('response_files = ["calibration/a.csv."]', "Windows drops dots and spaces"),
            ('response_files = ["calibration\\\\a.csv"]', "folders are separated by / on every system"),
            ('response_files = ["calibration/a.csv", "calibration/A.csv"]', "differ by capitals alone"),
        ],
    )
    def test_a_file_that_the_plan_names(self, line, says) -> None:
        text = f'format = 1\n[loudspeaker]\nname = "A"\n[analysis]\n{line}\n'
        with pytest.raises(PlanError) as caught:
            plan_from_text(text, source="session.toml")
        assert says in str(caught.value)
        assert "\n" not in str(caught.value)

    def test_the_microphones_file_and_another(self) -> None:
        text = (
            'format = 1\n[loudspeaker]\nname = "A"\n[microphone]\nresponse_file = "Mic.txt"\nresponse_is = "response"\n'
        )
        with pytest.raises(PlanError, match=r"'mic\.txt' and 'Mic\.txt' differ by capitals alone"):
            plan_from_text(text + '[analysis]\nresponse_files = ["mic.txt"]\n', source="session.toml")


def test_a_label_of_an_older_version_can_still_be_read(tmp_path: Path) -> None:
    from distort.session.published.frozen import frozen_folder

    assert frozen_folder(SessionFolder(tmp_path), "aux").name == "aux"
    with pytest.raises(UsageError):
        frozen_folder(SessionFolder(tmp_path), "a/b")


@pytest.mark.sample
def test_every_name_that_the_program_gives_travels(distort, session, recording) -> None:
    """Also below a folder of 100 characters within the 260 that Windows takes by default (Microsoft, "Maximum Path
    Length Limitation"), and beside its temporary file."""
    distort.done("add", session, recording, "--stimulus", "sweep", "--level", "86")
    distort.done("analyze", session)
    distort.done("freeze", session, "spring-edition")
    for root in (session, ROOT / "demo_recordings"):
        paths = [*root.rglob("*"), root / LOCK_FILE]
        paths += [temporary_beside(path, new=True) for path in paths]
        assert len(paths) > 20
        for path in paths:
            assert fault_of(path.name) is None
            assert not reserved_says_python(path.name)
            assert len(path.relative_to(root).as_posix()) < 160
        spelt = [alike(path.relative_to(root).as_posix()) for path in paths]
        assert len(spelt) == len(set(spelt))
