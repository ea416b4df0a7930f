"""Where things lie, what names say, and that no name leads out of the session."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.files.names import RecordingName, check_condition, format_level, parse_stem

LEVELS = st.integers(2000, 14000).map(lambda hundredths: hundredths / 100)
STIMULI = st.from_regex(r"[a-z][a-z0-9]{0,8}(-[a-z0-9]{1,8}){0,2}", fullmatch=True)
NAMES = st.builds(RecordingName, stimulus=STIMULI, level_db_spl=LEVELS, take=st.integers(1, 99), after=st.booleans())
"""Every name that a recording can have, as far as these lengths."""

SWEEP_86 = RecordingName(stimulus="sweep", level_db_spl=86)


@pytest.fixture
def session(tmp_path: Path) -> SessionFolder:
    (tmp_path / "speaker" / "recordings" / "desk").mkdir(parents=True)
    return SessionFolder(tmp_path / "speaker")


def put(session: SessionFolder, *names: str, condition: str = "desk") -> None:
    for name in names:
        (session.root / "recordings" / condition / name).write_bytes(b"x")


@pytest.mark.parametrize(
    ("level", "text"), [(86, "86"), (91.5, "91.5"), (100.0, "100"), (90.25, "90.25"), (76 + 3 * 0.1, "76.3")]
)
def test_a_level_in_a_name(level: float, text: str) -> None:
    assert format_level(level) == text


@pytest.mark.parametrize("level", [19.9, 140.1, float("nan"), float("inf"), 86.125])
def test_a_level_that_no_name_can_carry(level: float) -> None:
    with pytest.raises(SessionError, match="a level of"):
        format_level(level)


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        (SWEEP_86, "sweep_86dB"),
        (replace(SWEEP_86, take=2), "sweep_86dB_take2"),
        (replace(SWEEP_86, level_db_spl=76, after=True), "sweep_76dB_after"),
        (
            RecordingName(stimulus="sweep-short", level_db_spl=91.5, take=3, after=True),
            "sweep-short_91.5dB_take3_after",
        ),
    ],
)
def test_names_are_those_of_the_contract(name: RecordingName, stem: str) -> None:
    assert name.stem == stem
    assert parse_stem(stem) == name


@given(NAMES)
def test_what_a_name_says_is_what_was_put_into_it(name: RecordingName) -> None:
    assert parse_stem(name.stem) == name


@given(NAMES, NAMES)
def test_two_recordings_never_share_a_name(one: RecordingName, other: RecordingName) -> None:
    assert (one.stem == other.stem) == (one == other)


@given(st.text(alphabet="sweptak_-0123456789.dBfr", max_size=24) | st.text(max_size=24))
def test_any_text_is_either_no_name_or_the_one_spelling_of_it(text: str) -> None:
    name = parse_stem(text)
    assert name is None or name.stem == text


@pytest.mark.parametrize(
    "stem",
    [
        "sweep", "sweep_86", "sweep_86.0dB", "sweep_086dB", "sweep_86dB_take1", "sweep_86dB_take0", "sweep_86dB_take02",
        "sweep_86dB_after_take2", "sweep_86dB_", "sweep_86db", "Sweep_86dB", "-sweep_86dB", "sweep-_86dB",
        "sweep_5dB", "sweep_999dB", "sweep_86dB_take100", "sweep_86dB (1)", "swe\u0435p_86dB", "sweep_8\u0666dB", "",
    ],
)  # fmt: skip
def test_no_other_spelling_is_taken(stem: str) -> None:
    assert parse_stem(stem) is None


@pytest.mark.parametrize(
    "bad",
    [{"stimulus": "Sweep"}, {"stimulus": "a_b"}, {"stimulus": "../a"}, {"take": 0}, {"take": 100}, {"level_db_spl": 1}],
)
def test_a_name_that_cannot_be(bad: dict[str, object]) -> None:
    with pytest.raises(SessionError):
        replace(SWEEP_86, **bad)  # type: ignore[arg-type]


@pytest.mark.parametrize("condition", ["desk", "Desk-2", "on_foam", "2m", "a" * 40])
def test_conditions_that_can_be(condition: str) -> None:
    assert check_condition(condition) == condition


@pytest.mark.parametrize(
    "condition",
    ["", ".", "..", "a/b", "a\\b", "/a", "a b", "a.b", "-a", "_a", "é", "a\n", "a\0", "a" * 41, "C:", "desk:1",
     "figures", "Compare", "NUL", "com1"],
)  # fmt: skip
def test_conditions_that_cannot_be(session: SessionFolder, condition: str) -> None:
    for use in (check_condition, session.recordings_folder, session.results_folder, session.findings_path):
        with pytest.raises(SessionError, match="cannot name a condition"):
            use(condition)


def test_where_things_lie() -> None:
    session = SessionFolder(Path("my-speaker"))
    root = Path("my-speaker")
    assert session.plan_path == root / "session.toml"
    assert session.stimulus_path("sweep", 86) == root / "stimuli/sweep_86dB.wav"
    assert session.stimulus_path("sweep", 86, ".json") == root / "stimuli/sweep_86dB.json"
    files = session.recording("desk", SWEEP_86)
    assert files.audio_path == root / "recordings/desk/sweep_86dB.flac"
    assert files.sidecar_path == root / "recordings/desk/sweep_86dB.json"
    assert session.calibration_path() == root / "calibration/microphone.json"
    assert session.results_folder("desk") == root / "results/desk"
    assert session.level_result_path("desk", "response", 91.5) == root / "results/desk/response_91.5dB.csv"
    assert session.level_result_path("desk", "harmonics", 86) == root / "results/desk/harmonics_86dB.csv"
    assert session.findings_path("desk") == root / "results/desk/findings.json"
    assert session.figures_folder() == root / "results/figures"


@pytest.mark.parametrize(
    "part", ["..", "../other", "calibration/../../other", "recordings/../session.toml", "/etc/passwd", "calibration/\0"]
)
def test_no_path_leads_out(session: SessionFolder, part: str) -> None:
    with pytest.raises(SessionError, match="leads out of the session"):
        session.inside(part)


def test_no_link_leads_out(session: SessionFolder, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (session.root / "recordings" / "stand").symlink_to(tmp_path / "elsewhere")
    (session.root / "calibration").symlink_to(tmp_path / "not-there-yet")
    put(session)
    (session.root / "recordings" / "desk" / "sweep_86dB.flac").symlink_to(tmp_path / "elsewhere" / "a.flac")
    for reach in (
        lambda: session.recordings("stand"),
        lambda: session.recordings("desk"),
        lambda: session.recording("desk", SWEEP_86),
        session.calibration_path,
    ):
        with pytest.raises(SessionError, match="is a link that leads out"):
            reach()


def test_a_link_within_the_session_and_a_session_behind_a_link_are_fine(session: SessionFolder, tmp_path: Path) -> None:
    (session.root / "recordings" / "stand").symlink_to(session.root / "recordings" / "desk")
    put(session, "sweep_86dB.wav")
    assert [files.name for files in session.recordings("stand")] == [SWEEP_86]
    (tmp_path / "link").symlink_to(session.root)
    assert [files.name for files in SessionFolder(tmp_path / "link").recordings("desk")] == [SWEEP_86]


def test_recordings_are_listed_in_order_and_nothing_else_is(session: SessionFolder) -> None:
    put(
        session,
        "sweep_102dB.flac", "sweep_86dB.wav", "sweep_86dB.json", "sweep_76dB_after.flac", "sweep_86dB_take2.flac",
        "sweep_76dB.flac", "multitone_76dB.flac", "notes.txt", "sweep_96dB.json", "sweep_86dB_take1.wav",
        ".sweep_90dB.flac.0123.tmp", "sweep_90dB.mp3",
    )  # fmt: skip
    stems = [files.name.stem for files in session.recordings("desk")]
    assert stems == [
        "multitone_76dB", "sweep_76dB", "sweep_86dB", "sweep_86dB_take2", "sweep_102dB", "sweep_76dB_after",
    ]  # fmt: skip
    assert [files.name.stem for files in session.recordings("desk") if files.has_sidecar] == ["sweep_86dB"]


def test_a_recording_that_is_there_twice_is_refused(session: SessionFolder) -> None:
    put(session, "sweep_86dB.wav", "sweep_86dB.flac")
    with pytest.raises(SessionError, match="holds sweep_86dB twice"):
        session.recordings("desk")


def test_nothing_recorded_yet(session: SessionFolder) -> None:
    assert session.recordings("stand") == ()
    assert session.conditions_recorded() == ("desk",)
    assert SessionFolder(session.root / "none").conditions_recorded() == ()


def test_the_next_free_take(session: SessionFolder) -> None:
    assert session.next_take("desk", SWEEP_86) == SWEEP_86
    put(session, "sweep_86dB.flac", "sweep_86dB_take4.wav", "sweep_86dB_take7_after.wav", "sweep_96dB_take9.wav")
    assert session.next_take("desk", SWEEP_86).take == 5
    assert session.next_take("desk", replace(SWEEP_86, take=2)).take == 5
    assert session.next_take("desk", replace(SWEEP_86, after=True)).take == 8
    put(session, "sweep_86dB_take99.flac")
    with pytest.raises(SessionError, match="99 takes already"):
        session.next_take("desk", SWEEP_86)


def test_what_is_no_session(session: SessionFolder, tmp_path: Path) -> None:
    with pytest.raises(SessionError, match=r"holds no session\.toml"):
        session.require()
    with pytest.raises(SessionError, match="there is no folder"):
        SessionFolder(tmp_path / "none").require()
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(SessionError, match="is not a folder"):
        SessionFolder(tmp_path / "file").require()
    session.plan_path.write_text("format = 1", encoding="utf-8")
    session.require()
