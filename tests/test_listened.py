"""From sounds to what listeners heard: files of a page are added up and kept, and findings say what they show."""

import base64
import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from distort import __main__ as program
from distort.analysis.hearing.loudness import integrated_lkfs
from distort.report.page.blind_pairs import write_blind_page
from distort.report.page.document import write_page
from distort.report.page.listening import Play, played, short_version
from distort.report.page.one_at_a_time import louder_than_music, one_at_a_time
from distort.report.text.story import Told, told
from distort.report.text.where_shown import Where
from distort.session.plan.keys import ReportPlan
from distort.session.plan.music import read_mixed
from distort.session.plan.reading import read_plan
from distort.session.published.contents import contents_of
from distort.session.results.condition_results import read_results, write_results
from distort.session.results.heard_files import Heard, Sound, write_heard
from distort.session.results.listened import kept_listened, left_behind
from signals import hold_samples
from tests.page_examples import whole_results, with_findings, write_session
from tests.test_listeners import run

RATE = 16000


@pytest.fixture
def session(tmp_path):
    """Findings of a dip, of the loudspeaker's own distortion and of a limiter, and music at 96 dB made into sounds."""
    folder = write_session(tmp_path, conditions=("desk",))
    write_results(folder, with_findings(whole_results("desk", levels=(86.0, 96.0), conditions=("desk",))))
    return folder


def sounds_written(folder, seed: int, licence: str = "CC0-1.0", **changed: object) -> str:
    """Sounds of other noise for another seed, and the page of them; returns the page."""
    noise = np.random.default_rng(seed).uniform(-0.2, 0.2, (3, int(3.2 * RATE)))
    record = Heard(
        source="recorded",
        simulated=False,
        loudspeaker="Monitor A",
        condition="desk",
        level_db_spl=96.0,
        quiet_db_spl=86.0,
        credit="",
        licence=licence,
        programme_sha256=None,
        sample_rate=RATE,
        n_samples=noise.shape[1],
        full_scale_db_spl=None,
        recordings=(),
        silent=(),
    )
    record = replace(record, **changed)
    parts = {
        "intended": noise[0],
        "delivered": noise[0] + 0.3 * noise[1] + 0.1 * noise[2],
        "remainder": 0.3 * noise[1] + 0.1 * noise[2],
        "no-distortion": noise[0] + 0.3 * noise[1],
        "no-compression": noise[0] + 0.1 * noise[2],
    }
    each = [Sound(part=part, samples=samples) for part, samples in parts.items()]
    write_heard(folder, record, each, tags={"title": "desk"}, figure_png=bytes)
    made = write_blind_page(folder, read_plan(folder.root), newest=record.stem, software="distort 0")
    assert made is not None
    return made.path.read_text(encoding="utf-8")


def saved(page: str, tmp_path, **right: int):
    """A listener's file of that page: one run of 16 for each kind of pair, so many right."""
    test = json.loads(re.search(r'<script type="application/json" id="test">(.*?)</script>', page)[1])
    names = ("pair", "kind", "frequency_hz", "title", "condition", "level_db_spl", "source", "simulated")
    document = {
        "format": 1,
        **{name: test[name] for name in ("test", "loudspeaker", "software")},
        "listener": "1",
        "kept_by_browser": True,
        "pairs": [{name: pair[name] for name in names} for pair in test["pairs"]],
        "runs": [
            {**run(number, count), "pair": f"desk_96dB_{kind}"} for number, (kind, count) in enumerate(right.items(), 1)
        ],
    }
    path = tmp_path / "listener.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def test_findings_say_what_listeners_heard(session, tmp_path, capsys) -> None:
    """16 of 16 against guessing is 2^-16; 9 of 16 excludes what lies above 80.25 % (tests/test_listeners.py)."""
    page = sounds_written(session, 1)
    path = saved(page, tmp_path, distortion=16, compression=9, dip=16)
    assert program.main(["listeners", str(path), "--keep", str(session.root)]) == 0
    assert "Kept in" in capsys.readouterr().out
    assert program.main(["show", str(session.root), "findings"]) == 0
    out = capsys.readouterr().out
    said = [line.strip() for line in out.splitlines() if line.startswith("   Audible:")]
    assert said == [
        "Audible: heard at 96 dB SPL in a blind test of the dip (1 listener, 16 of 16 right).",
        "Audible: heard at 96 dB SPL in a blind test of all distortion together (1 listener, 16 of 16 right).",
        "Audible: not shown at 96 dB SPL in a blind test of all compression together; a share right above 81 % is "
        "excluded (1 listener, 9 of 16 right).",
    ]
    story = told([read_results(session, "desk")], listened=kept_listened(session))
    assert {one.audible for one in story} == {line.removeprefix("Audible: ").rstrip(".") for line in said}
    elsewhere = told([read_results(session, "desk")])
    assert not any("blind" in one.audible for one in elsewhere)


def test_what_was_heard_of_other_sounds_is_not_said_of_these(session, tmp_path, capsys) -> None:
    path = saved(sounds_written(session, 1), tmp_path, distortion=16)
    assert program.main(["listeners", str(path), "--keep", str(session.root)]) == 0
    assert left_behind(session) is None
    sounds_written(session, 2)
    assert kept_listened(session) is None
    assert left_behind(session) == session.root / "results/listening/listeners.json"
    capsys.readouterr()
    assert program.main(["listeners", str(path), "--keep", str(session.root)]) == 1
    assert "not of the blind test that lies in" in capsys.readouterr().err
    assert program.main(["show", str(session.root), "findings"]) == 0
    assert "blind" not in capsys.readouterr().out


def test_the_report_plays_three_sounds_only_where_the_licence_permits_it(session) -> None:
    """As meant and as it came out are equally loud: 0.1 LU, what EBU Tech 3341 allows a meter."""
    sounds_written(session, 1, licence="all rights reserved")
    assert played(session, read_plan(session.root)) is None
    sounds_written(session, 1)
    record = played(session, read_plan(session.root))
    assert record is not None
    short = short_version(session, record)
    assert short is not None
    assert short["test"] == "listening/blind.html"
    assert short["made"] == "Recorded at 96 dB SPL, condition desk."
    heard = [base64.b64decode(play.address.partition("base64,")[2]) for play in short["plays"]]
    meant, came_out, alone = (soundfile.read(io.BytesIO(flac))[0] for flac in heard)
    assert meant.size == came_out.size == alone.size
    assert integrated_lkfs(meant, RATE) == pytest.approx(integrated_lkfs(came_out, RATE), abs=0.1)
    difference = came_out - meant * np.dot(came_out, meant) / np.dot(meant, meant)
    assert np.corrcoef(difference, alone)[0, 1] > 0.99  # what one has over the other is what is played alone


def test_the_report_says_where_each_kind_of_fault_is_heard_by_itself(session) -> None:
    """Pairs of the blind test by their names in it, and of what lies below the noise that there is nothing to hear."""
    page = sounds_written(session, 1)
    record = played(session, read_plan(session.root))
    assert record is not None
    story = told([read_results(session, "desk")])
    ways = one_at_a_time(record, "listening/blind.html", story, {})
    assert [way.address for way in ways] == [
        "listening/blind.html#desk_96dB_compression",
        "listening/blind.html#desk_96dB_distortion",
    ]
    assert all(f'value="{way.address.partition("#")[2]}"' in page for way in ways)
    one, _ = one_at_a_time(replace(record, silent=("compression",)), "listening/blind.html", story, {})
    assert (one.address, one.where) == ("", "none of it stands above the noise in this music")
    assert one_at_a_time(record, None, story, {}) == ()
    rattle = Told(
        number=4,
        finding=replace(story[0].finding, explanation="rattle"),
        belongs_to="loudspeaker",
        conditions=("loose",),
        where=Where(not_in=()),
        verdict=None,
        audible="",
    )
    (way,) = one_at_a_time(record, None, (rattle,), {4: Play(name="", address="")})
    assert (way.what, way.where, way.address) == (
        "The rattle by itself",
        "with finding 4, in condition loose",
        "#finding-4",
    )
    assert one_at_a_time(record, None, (rattle,), {4: "Its sound is not in this page."}) == ()


def test_findings_of_higher_levels_are_said_not_to_be_in_the_music(session) -> None:
    sounds_written(session, 1)
    record = played(session, read_plan(session.root))
    assert record is not None
    story = told([read_results(session, "desk")])
    louder = [
        replace(one, finding=replace(one.finding, numbers={"level_db_spl": level}))
        for one, level in zip(story, (96.0, 96.5, 101.0), strict=True)
    ]
    assert louder_than_music(record, louder[:1]) == ""
    assert louder_than_music(record, louder).startswith(
        "The music was played at 96 dB SPL: of what findings 2 and 3 show at higher levels there is less in it"
    )
    assert "of what finding 2 shows at higher" in louder_than_music(record, louder[:2])
    assert louder_than_music(replace(record, condition="stand"), louder) == ""


@pytest.mark.parametrize(("licence", "goes_out"), [("CC0-1.0", True), ("", False)])
def test_the_blind_test_goes_to_readers_only_where_the_licence_permits_it(session, licence, goes_out) -> None:
    sounds_written(session, 1, licence=licence)
    files = {one.file for one in contents_of(session, read_plan(session.root)).files}
    assert ("results/listening/blind.html" in files) is goes_out
    assert not any(file.endswith(".flac") for file in files)


def piece_stated(folder, stated: str) -> str:
    """Put music and what is stated of it into the plan; returns its samples' SHA-256."""
    (folder.root / "programme").mkdir(exist_ok=True)
    noise = np.random.default_rng(5).uniform(-0.2, 0.2, 5 * RATE)
    soundfile.write(folder.root / "programme/x.flac", noise, RATE)
    plan = (folder.root / "session.toml").read_text(encoding="utf-8").partition("\n[programme]")[0]
    text = f'{plan}\n[programme]\nfile = "programme/x.flac"\n{stated}\n'
    (folder.root / "session.toml").write_text(text, encoding="utf-8")
    return hold_samples(read_mixed(folder.root / "programme/x.flac")[0])


def test_a_licence_that_is_withdrawn_calls_pages_back(session) -> None:
    """What was stated when the sounds were made does not bind for good: it may have been a mistake."""
    by = piece_stated(session, 'credit = "Nobody"\nlicence = "CC-BY-4.0"')
    page = sounds_written(session, 1, "CC-BY-4.0", credit="Nobody", programme_sha256=by)
    assert "Music: Nobody, CC-BY-4.0, changed by what this page shows." in page
    each = (read_results(session, "desk"),)
    write_page(session, each, ReportPlan(), figures=())
    pages = {"results/report.html", "results/listening/blind.html"}

    def packed() -> set[str]:
        return {one.file for one in contents_of(session, read_plan(session.root)).files}

    assert packed() >= pages
    for withdrawn in ('credit = "Nobody"', 'licence = "CC-BY-4.0"'):
        piece_stated(session, withdrawn)
        assert not packed() & pages
        assert set(contents_of(session, read_plan(session.root)).unlicensed) == pages
        assert played(session, read_plan(session.root)) is None
    write_page(session, each, ReportPlan(), figures=())
    assert packed() & pages == {"results/report.html"}
    assert "data:audio" not in (session.root / "results/report.html").read_text(encoding="utf-8")


def test_everyone_whose_music_a_page_plays_is_named(session) -> None:
    named = {"licence": "CC-BY-4.0", "programme_sha256": "0" * 64}
    sounds_written(session, 1, credit="Somebody", level_db_spl=86.0, **named)
    page = sounds_written(session, 2, credit="Nobody", **named)
    assert "Nobody, CC-BY-4.0, changed by what this page shows; Somebody, CC-BY-4.0" in page
