"""What leaves a session: files that a record of it names, as they were written, and nothing of the user's own."""

import json
import os
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from distort.errors import SessionError
from distort.session.files.folder import SessionFolder
from distort.session.plan.reading import read_plan
from distort.session.published import bundle as bundle_module
from distort.session.published.contents import contents_of
from distort.session.results.comparison_files import FILES, KEYS, SEAL, read_comparisons, seal
from tests.blank_figures import unmade_figures
from tests.clumsy_session import contents
from tests.page_examples import COMPARED_TABLE, write_compared

pytest_plugins = ["tests.clumsy_fixtures", "tests.small_sessions"]

SECRET = "what nobody may see"


@pytest.fixture
def own(drawn, tmp_path) -> Path:
    """A copy of a session that was analysed and drawn, to spoil."""
    return Path(shutil.copytree(drawn, tmp_path / "monitor"))


@pytest.fixture(autouse=True)
def undrawn() -> Iterator[None]:
    with unmade_figures():
        yield


def names(session: Path) -> set[str]:
    """Files that would be packed."""
    return {one.file for one in contents_of(SessionFolder(session), read_plan(session)).files}


def left_out(session: Path) -> tuple[str, ...]:
    return contents_of(SessionFolder(session), read_plan(session)).left_out


def test_all_that_commands_wrote_is_packed_and_nothing_beside_it(distort, own, tmp_path) -> None:
    distort.done("freeze", own, "spring-edition")
    wanted = names(own)
    not_packed = {
        *(f"stimuli/{path.name}" for path in (own / "stimuli").iterdir()),  # made again from the sidecars
        *("session.toml", "frozen/spring-edition/inputs/session.toml"),  # with their comments
        "results/analysed.json",  # holds times of this disk
    }
    assert wanted == {name for name, what in contents(own).items() if what != b"a folder"} - not_packed
    for folder in (own, *(path for path in own.rglob("*") if path.is_dir())):
        (folder / "notes.txt").write_text(SECRET)
        (folder / "notes.csv").write_text(SECRET)
        (folder / "photo.png").symlink_to(own / "diary.txt")
    (own / "diary.txt").write_text(SECRET)
    assert names(own) == wanted
    assert left_out(own) == ()
    distort.done("bundle", own, "--to", tmp_path / "check.zip")
    with zipfile.ZipFile(tmp_path / "check.zip") as archive:
        assert {name.removeprefix("check/") for name in archive.namelist()} == {*wanted, "CONTENTS.txt", "session.toml"}
        assert not [name for name in archive.namelist() if SECRET.encode() in archive.read(name)]


@pytest.mark.first(1)
@pytest.mark.parametrize(
    "name", ["results/report.html", "results/figures/response_default.png", "results/figures/response_default.svg"]
)
def test_what_is_not_as_it_was_written_stays_out_and_is_told(distort, own, tmp_path, name) -> None:
    whole = names(own)
    with (own / name).open("a", encoding="latin-1") as file:
        file.write(SECRET)
    ending = distort("bundle", own, "--to", tmp_path / "check.zip")
    assert ending.status == 0
    assert ending.err == (
        f"Careful: {name} may not be as it was written, so it stays out: 'distort report {own}' writes it anew.\n"
    )
    distort.done("report", own)
    assert left_out(own) == ()
    assert names(own) == whole


def test_a_page_of_which_nothing_tells_who_wrote_it_stays_out(distort, own) -> None:
    """As in a session that an earlier version drew."""
    (own / "results/report.json").unlink()
    assert left_out(own) == ("results/report.html",)
    assert "Wrote" in distort.done("report", own)
    assert left_out(own) == ()


@pytest.mark.first(2)
@pytest.mark.parametrize("kind", ["pipe", "link out", "folder", "endless"])
def test_a_page_or_figure_that_is_no_file_is_written_anew_or_refused(distort, own, tmp_path, kind) -> None:
    for name in ("results/report.html", "results/figures/thd_default.svg"):
        spoil(own / name, kind, tmp_path)
    ending = distort("report", own)
    if kind in ("pipe", "endless"):
        assert ending.status == 0, ending
        assert left_out(own) == ()
    else:
        assert ending.status == 1
        assert "is a link that leads out" in ending.err or "a folder of that name exists" in ending.err


def test_recordings_are_known_by_their_sidecars(distort, own) -> None:
    wanted = names(own)
    stray = own / "recordings/default/sweep_76dB_take2.wav"
    shutil.copy(own / "recordings/default/sweep_76dB.wav", stray)
    (own / "recordings/default/sweep_96dB.json").write_text(SECRET)
    assert names(own) == wanted
    stray.rename(own / "recordings/default/sweep_76dB.wav")
    assert names(own) == wanted
    (own / "recordings/default/sweep_76dB.wav").write_text(SECRET)
    with pytest.raises(SessionError, match=r"is not the file that sweep_76dB\.json was written for"):
        names(own)


def test_calibrator_recordings_are_known_by_what_rests_on_them(distort, own, tmp_path) -> None:
    import numpy as np
    import soundfile

    for number, words in ((1, ()), (2, ()), (3, ("--post-check",))):
        tone = (0.03 + 0.001 * number) * np.sin(2.0 * np.pi * 1000.0 * np.arange(4 * 48000) / 48000)
        soundfile.write(tmp_path / f"{number}.wav", tone, 48000, subtype="PCM_24")
        distort.done("calibrate", own, "--spl", "94", "--from", tmp_path / f"{number}.wav", *words)
    # nothing rests on the first: no recording was made between the two
    found = {f"calibration/{name}" for name in ("microphone.json", "calibrator_94dB_2.wav", "closing.json")}
    found.add("calibration/closing_94dB.wav")
    assert {name for name in names(own) if name.startswith("calibration/")} == found
    shutil.copy(tmp_path / "1.wav", own / "calibration/calibrator_94dB_2.wav")
    with pytest.raises(SessionError, match=r"calibrator_94dB_2\.wav is not the recording"):
        names(own)


def test_a_loopback_is_that_of_a_recording_and_itself_a_file(own) -> None:
    import soundfile

    place = own / "loopback/default"
    place.mkdir(parents=True)
    for stem in ("sweep_76dB", "sweep_91dB", "notes"):
        soundfile.write(place / f"{stem}.flac", [0.0, 0.1], 48000)
    (place / "sweep_86dB.flac").symlink_to("notes.flac")
    assert {name for name in names(own) if name.startswith("loopback/")} == {"loopback/default/sweep_76dB.flac"}


@pytest.mark.first(1)
@pytest.mark.parametrize("record", ["results/figures/drawn.json", "frozen/spring-edition/frozen.json"])
def test_a_record_cannot_name_what_lies_outside(distort, own, tmp_path, record) -> None:
    distort.done("freeze", own, "spring-edition")
    secret = tmp_path / "secret.png"
    secret.write_text(SECRET)
    from distort.session.files.hashing import sha256_of_file

    digest, path = sha256_of_file(secret), own / record
    for up in (str(secret), "../../../secret.png"):
        said = json.loads(path.read_text(encoding="utf-8"))
        if "figures" in said:
            said["figures"][0]["files"].append({"name": up, "sha256": digest})
        else:
            said["results"].append({"file": up, "sha256": digest})
        path.write_text(json.dumps(said), encoding="utf-8")
        ending = distort("bundle", own, "--to", tmp_path / "check.zip")
        if ending.status == 0:
            assert SECRET.encode() not in (tmp_path / "check.zip").read_bytes()
            assert "secret" not in str(names(own))
            (tmp_path / "check.zip").unlink()
        else:
            assert "leads out" in ending.err


def test_a_frozen_input_that_was_changed_is_told(distort, own) -> None:
    distort.done("freeze", own, "spring-edition")
    (own / "frozen/spring-edition/inputs/recordings/default/sweep_76dB.json").write_text(SECRET)
    with pytest.raises(SessionError, match="was changed since it was frozen"):
        names(own)


def test_frozen_keeps_no_file_of_the_users_own(distort, own) -> None:
    (own / "calibration").mkdir(exist_ok=True)
    (own / "calibration/notes.json").write_text(SECRET)
    (own / "results/default/notes.csv").write_text(SECRET)
    distort.done("freeze", own, "spring-edition")
    kept = contents(own / "frozen")
    assert not [name for name in kept if "notes" in name]
    assert SECRET.encode() not in b"".join(kept.values())


def test_a_copy_of_results_is_not_taken_for_results(distort, own) -> None:
    shutil.copytree(own / "results/default", own / "results/default before the move")
    distort.done("show", own, "harmonics")  # that is no name of a condition
    shutil.copytree(own / "results/default", own / "results/before")
    said = distort("show", own, "harmonics").err
    assert "results/before/findings.json speaks of condition 'default'" in said


def test_what_changes_while_it_is_packed_is_not_packed(own, tmp_path, monkeypatch) -> None:
    def then_changed(*given):
        found = contents_of(*given)
        with (own / "results/default/harmonics_86dB.csv").open("a") as file:
            file.write("1\n")
        return found

    monkeypatch.setattr(bundle_module, "contents_of", then_changed)
    with pytest.raises(SessionError, match=r"harmonics_86dB\.csv changed while it was packed"):
        bundle_module.write_bundle(SessionFolder(own), read_plan(own), tmp_path / "check.zip", software="this")
    assert not list(tmp_path.glob("*.zip*"))


class TestComparisons:
    """What results/compare holds, by the documents in it."""

    @pytest.fixture
    def folder(self, tmp_path) -> SessionFolder:
        (tmp_path / "monitor/results").mkdir(parents=True)
        return SessionFolder(tmp_path / "monitor")

    def test_a_document_names_its_files(self, folder) -> None:
        document = write_compared(folder, "stand__desk", changes=["None."])
        for name in ("notes.csv", "stand__desk_2.csv", "stand__desk_h2_96dB.png", "photo.png"):
            (document.parent / name).write_text(SECRET)
        (found,) = read_comparisons(folder).each
        assert found.said["words"] == {"changes": ["None."]}
        assert [path.name for path in found.files] == ["stand__desk.csv", "stand__desk_h3_96dB.png"]

    @pytest.mark.parametrize("ending", [".json", ".csv", "_h3_96dB.png"])
    def test_what_was_edited_stays_out(self, folder, ending) -> None:
        document = write_compared(folder, "stand__desk", changes=["None."])
        path = document.with_name(f"stand__desk{ending}")
        path.write_bytes(path.read_bytes().replace(b"None", b"Some") if ending == ".json" else COMPARED_TABLE[:-2])
        found = read_comparisons(folder)
        assert found.left_out == (path,)
        assert path not in [one for each in found.each for one in (each.document, *each.files)]

    def test_of_an_earlier_version_the_table_must_hold_numbers(self, folder) -> None:
        document = write_compared(folder, "stand__desk", named=False)
        picture = document.with_name("stand__desk_h3_96dB.png")
        document.with_name("stand__desk_thd_96dB.png").write_text(SECRET)
        document.with_suffix(".csv").write_text(f"{SECRET}\n1\n")
        found = read_comparisons(folder)
        assert found.each[0].files == (picture,)
        assert found.left_out == (document.with_suffix(".csv"),)

    @pytest.mark.parametrize(
        "said",
        [{}, [], "x", dict.fromkeys(KEYS) | {"more": 1}, dict.fromkeys(KEYS - {"words"})],
        ids=["empty", "a list", "a text", "one more", "one less"],
    )
    def test_another_document_is_none(self, folder, said) -> None:
        place = folder.root / "results/compare"
        place.mkdir()
        (place / "stand__desk.json").write_text(json.dumps(said))
        (place / "notes.json").write_text(json.dumps(dict.fromkeys(KEYS)))
        assert read_comparisons(folder).each == read_comparisons(folder).left_out == ()

    @pytest.mark.parametrize(
        "files", [None, 1, [1], [{}], [{"file": "../../session.toml", "sha256": "0"}], [{"file": 1}]]
    )
    def test_a_document_that_names_nothing_sensible_names_nothing(self, folder, files) -> None:
        document = write_compared(folder, "stand__desk")
        said = json.loads(document.read_text()) | {FILES: files}
        document.write_text(json.dumps(said | {SEAL: seal(said)}))
        assert read_comparisons(folder).each[0].files == ()


READ = ("analyze", "show", "check", "report", "bundle", "freeze", "compare")


@pytest.mark.first(2)
@pytest.mark.parametrize("kind", ["pipe", "link out", "folder", "endless"])
@pytest.mark.parametrize("name", ["session.toml", "microphone.txt", "free-field.txt"])
def test_what_the_user_edits_or_names_must_be_a_file(distort, own, tmp_path, name, kind) -> None:
    plan = own / "session.toml"
    text = plan.read_text(encoding="utf-8").replace("# response_is", "response_is")
    text = text.replace('# response_file = "calibration/microphone.txt"', 'response_file = "microphone.txt"')
    plan.write_text(
        text.replace('# response_files = ["calibration/free-field.csv"]', 'response_files = ["free-field.txt"]')
    )
    for other in ("microphone.txt", "free-field.txt"):
        (own / other).write_text("20 0\n1000 0\n20000 0\n")
    spoil(own / name, kind, tmp_path)
    where = {"show": ("quality",), "bundle": ("--to", tmp_path / "check.zip"), "freeze": ("spring-edition",)}
    kinds = {"pipe": "is a pipe", "link out": "leads out", "folder": "is a folder", "endless": "is larger than"}
    for command in READ:
        targets = [f"{own}:default", f"{own}:default"] if command == "compare" else [own]
        ending = distort(command, *targets, *where.get(command, ()))
        assert "fault in this program" not in ending.err
        if name == "session.toml" or command in ("analyze", "bundle", "freeze"):
            assert ending.status in (1, 2), (command, ending)
            if command != "compare" or name == "session.toml":
                said = (f"{name} {kinds[kind]}", f"{name} is no file: [", "leads out")  # the plan's key is named
                assert any(words in ending.err for words in said), (command, ending)


def spoil(path: Path, kind: str, place: Path) -> None:
    """Put something else where a file was."""
    path.unlink()
    outside = place / "secret"
    outside.write_text(SECRET)
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "link out":
        path.symlink_to(outside)
    elif kind == "folder":
        path.mkdir()
    else:
        path.touch()
        os.truncate(path, 10**12)
