"""The page of the blind test: which pairs it offers, that its sounds are those of the files, and how large it grows."""

import base64
import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from distort.analysis.hearing.dips import with_dip_filled
from distort.report.page import blind
from distort.report.page.blind import BlindPair, blind_page
from distort.report.page.blind_pairs import write_blind_page
from distort.session.audio.embedded import flac_bytes
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Loudspeaker, Plan
from distort.session.results.heard_files import Heard, Sound, sound_name, write_heard

PLAN = Plan(loudspeaker=Loudspeaker(name="our-monitor"))
RATE = 16000
SECONDS = 3.2
FLAC_STEPS = 2.5 * 2.0**-15
"""Of 16 bits: half a step of rounding and up to two of triangular dither."""


def noise(seed: int, peak: float = 0.2) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-peak, peak, int(SECONDS * RATE))


def heard(**changed: object) -> Heard:
    record = Heard(
        source="recorded",
        simulated=True,
        loudspeaker="our-monitor",
        condition="desk",
        level_db_spl=96.0,
        quiet_db_spl=81.0,
        credit="Somebody",
        licence="CC0-1.0",
        programme_sha256=None,
        sample_rate=RATE,
        n_samples=int(SECONDS * RATE),
        full_scale_db_spl=None,
        recordings=(),
        silent=(),
    )
    return replace(record, **changed)


def written(folder: SessionFolder, record: Heard, sounds: dict[str, np.ndarray]) -> Heard:
    each = [Sound(part=part, samples=samples) for part, samples in sounds.items()]
    return write_heard(folder, record, each, tags={"title": "desk"}, figure_png=bytes)


def offered(page: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="test">(.*?)</script>', page)[1])


def sounds_in(page: str) -> dict[str, np.ndarray]:
    found = re.findall(r'id="(sound-\d+)" data-rate="16000">([A-Za-z0-9+/=]+)<', page)
    return {name: soundfile.read(io.BytesIO(base64.b64decode(flac)))[0] for name, flac in found}


@pytest.fixture
def folder(tmp_path) -> SessionFolder:
    return SessionFolder(tmp_path)


def test_pairs_are_what_differs_and_a_control(folder) -> None:
    """Nothing was compressed, so no pair of compression; sounds are the files', all with one gain, peaks at -1 dBFS."""
    intended, added = noise(1), 0.1 * noise(2)
    files = {"intended": intended, "delivered": intended + added, "remainder": added, "no-distortion": intended}
    record = written(folder, heard(), {**files, "no-compression": intended + added})
    made = write_blind_page(folder, PLAN, newest=record.stem, software="distort 0")
    page = made.path.read_text(encoding="utf-8")
    test = offered(page)
    names = ["desk_96dB_whole", "desk_96dB_distortion", "desk_96dB_raised", "desk_96dB_control"]
    assert [one["pair"] for one in test["pairs"]] == names
    assert made.pairs == 4
    sounds = sounds_in(page)
    assert len(sounds) == 4  # intended and what came out once each, and both as they are with the faults raised
    gain = 10.0 ** (-1.0 / 20.0) / max(np.max(np.abs(samples)) for samples in files.values())
    whole, distortion, raised, control = (one["sounds"] for one in test["pairs"])
    assert sounds[whole[0]] == pytest.approx(gain * files["intended"], abs=FLAC_STEPS)
    assert sounds[whole[1]] == pytest.approx(gain * files["delivered"], abs=FLAC_STEPS)
    assert distortion == whole
    assert control == [whole[1], whole[1]]
    ratio = sounds[raised[1]] - sounds[raised[0]]
    assert np.max(np.abs(sounds[raised[1]])) <= 10.0 ** (-1.0 / 20.0) + FLAC_STEPS
    fitted = np.dot(ratio, added) / np.dot(added, added)
    turned_down = np.dot(sounds[raised[0]], intended) / np.dot(intended, intended)
    assert fitted / turned_down == pytest.approx(10.0 ** (12.0 / 20.0), rel=1e-3)  # dither averages out
    note = json.loads((made.path.parent / "blind.note.json").read_text(encoding="utf-8"))
    assert note["licensed"] is True
    assert "Somebody" not in page  # the piece is this program's own
    assert "Simulated loudspeaker, not a measurement." in page


def test_a_sound_that_was_changed_is_not_offered_and_no_licence_is_noted(folder) -> None:
    intended = noise(1)
    files = {"intended": intended, "delivered": intended + 0.1 * noise(2)}
    spoilt = written(folder, heard(level_db_spl=101.0), files)
    (folder.root / "results" / "listening" / sound_name(spoilt.stem, "intended", 0.0)).write_bytes(b"fLaC")
    assert write_blind_page(folder, PLAN, newest=spoilt.stem, software="distort 0") is None
    good = written(folder, heard(licence=""), files)
    made = write_blind_page(folder, PLAN, newest=good.stem, software="distort 0")
    assert {one["level_db_spl"] for one in offered(made.path.read_text(encoding="utf-8"))["pairs"]} == {96.0}
    assert json.loads((made.path.parent / "blind.note.json").read_text(encoding="utf-8"))["licensed"] is False


def pair(a: np.ndarray, b: np.ndarray, *, name: str = "desk_96dB_whole") -> BlindPair:
    return BlindPair(
        pair=name,
        title="Whole",
        words="",
        a="a",
        b="b",
        samples_a=a,
        samples_b=b,
        sample_rate=RATE,
        condition="desk",
        level_db_spl=96.0,
        kind="whole",
        source="synthesised",
        simulated=False,
    )


def made_page(*pairs: BlindPair) -> str:
    return blind_page(pairs, loudspeaker="our-monitor", software="distort 0").html


def test_a_page_that_would_be_too_large_holds_the_beginning_of_each_sound(monkeypatch) -> None:
    long = pair(np.tile(noise(1), 2), np.tile(noise(2), 2))
    whole = sum(map(len, (flac_bytes(side, RATE) for side in (long.samples_a, long.samples_b))))
    monkeypatch.setattr(blind, "MOST_SOUND_BYTES", 0.6 * whole)
    sounds = sounds_in(made_page(long))
    assert {samples.size for samples in sounds.values()} == {next(iter(sounds.values())).size}
    assert 3.0 * RATE <= next(iter(sounds.values())).size < 0.6 * long.samples_a.size
    monkeypatch.setattr(blind, "MOST_SOUND_BYTES", 0.2 * whole)
    with pytest.raises(ValueError, match="2 sounds of 3 s are too many"):
        made_page(long)


def test_sounds_that_no_page_holds_leave_the_least_of_them_out(folder, monkeypatch) -> None:
    """As at 192 kHz: the newest is offered, and nothing else is lost."""
    for level, seed in ((91.0, 1), (96.0, 3)):
        intended, added = noise(seed), 0.1 * noise(seed + 1)
        written(folder, heard(level_db_spl=level), {"intended": intended, "delivered": intended + added})
    one = sum(len(flac_bytes(noise(seed), RATE)) for seed in (1, 2))
    monkeypatch.setattr(blind, "MOST_SOUND_BYTES", 1.2 * one)
    made = write_blind_page(folder, PLAN, newest="desk_91dB", software="distort 0")
    assert made is not None
    assert made.pairs == 2
    assert {each["level_db_spl"] for each in offered(made.path.read_text(encoding="utf-8"))["pairs"]} == {91.0}


def test_the_same_sounds_make_the_same_page_whichever_was_heard_last(folder) -> None:
    """Or answers to it would no longer count, although nothing that they are about has changed."""
    for condition, seed in (("stand", 1), ("desk", 3)):
        intended, added = noise(seed), 0.1 * noise(seed + 1)
        written(folder, heard(condition=condition), {"intended": intended, "delivered": intended + added})
    pages = []
    for newest in ("desk_96dB", "stand_96dB"):
        made = write_blind_page(folder, PLAN, newest=newest, software="distort 0")
        assert made is not None
        pages.append(made.path.read_text(encoding="utf-8"))
    assert pages[0] == pages[1]
    assert [one["condition"] for one in offered(pages[0])["pairs"]] == ["desk", "stand", "desk"]  # the last: a control


def test_a_test_is_told_by_its_sounds_and_words() -> None:
    a, b = noise(1), noise(2)
    names = {offered(page)["test"] for page in (made_page(pair(a, b)), made_page(pair(a, b)))}
    assert len(names) == 1
    assert offered(made_page(pair(a, 0.5 * b)))["test"] not in names
    assert offered(made_page(pair(a, b, name="desk_91dB_whole")))["test"] not in names


def test_what_makes_no_pair_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a pair"):
        made_page()
    with pytest.raises(ValueError, match="differ in length"):
        made_page(pair(noise(1), noise(2)[:-1]))
    with pytest.raises(ValueError, match="shorter than the shortest loop"):
        made_page(pair(noise(1)[:RATE], noise(2)[:RATE]))
    with pytest.raises(ValueError, match="under full scale"):
        flac_bytes(np.array([np.nan]), RATE)


@pytest.mark.parametrize(
    ("hertz", "expected_db"),
    [(1000.0, 8.0), (1000.0 * 2.0 ** (1.0 / 6.0), 4.0), (1000.0 * 2.0 ** (-1.0 / 6.0), 4.0), (4000.0, 0.0)],
)
def test_a_filled_dip_is_a_bell_without_a_change_of_phase(hertz, expected_db) -> None:
    """8 dB at 1 kHz, a third octave wide where 4 dB are left; 0.01 dB and 0.003 are what rings from the tone's ends."""
    tone = np.sin(2.0 * np.pi * hertz * np.arange(RATE) / RATE)
    filled = with_dip_filled(tone, RATE, frequency_hz=1000.0, depth_db=8.0, width_octaves=1.0 / 3.0)
    inside = slice(RATE // 4, -RATE // 4)
    gain = np.dot(filled[inside], tone[inside]) / np.dot(tone[inside], tone[inside])
    assert 20.0 * np.log10(gain) == pytest.approx(expected_db, abs=0.01)
    assert np.max(np.abs(filled[inside] - gain * tone[inside])) < 0.003 * gain
    assert filled.size == tone.size


def test_a_deep_dip_is_filled_by_20_db_at_most() -> None:
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE) / RATE)
    filled = with_dip_filled(tone, RATE, frequency_hz=1000.0, depth_db=40.0, width_octaves=1.0 / 3.0)
    assert np.max(np.abs(filled[RATE // 4 : -RATE // 4])) == pytest.approx(10.0, rel=0.001)
