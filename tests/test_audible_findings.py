"""Whether anyone would hear a finding: by its orders, at its place, at the highest level of its evidence."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.findings.finding import Audible
from distort.analysis.hearing.audibility import order_margins, verdict
from distort.analysis.programme import ProgrammeLevel, ProgrammeResult
from distort.assembly.condition.audible import SAID, told_audible
from distort.report.text.listened import heard_words
from distort.session.results.listened import Listened, ListenedPair
from distort.session.results.programme_table import programme_columns, programme_of_columns
from signals.burst import third_octaves_hz
from tests import report_examples as examples
from tests.test_fault_changes import RISE, ROW

HARMONICS = {86.0: examples.harmonics(orders=5), 96.0: examples.harmonics(orders=5, lift_db=10.0)}


def audible(*rows, harmonics=HARMONICS, music=None):
    (told,) = told_audible([replace(RISE, evidence=rows)], harmonics, music)
    return told.audible


PAIR = ListenedPair(
    pair="desk_96dB_distortion",
    kind="distortion",
    frequency_hz=None,
    title="Without and with distortion",
    condition="desk",
    level_db_spl=96.0,
    source="recorded",
    simulated=False,
    runs=1,
    broken_off=0,
    listeners=1,
    right=16,
    trials=16,
    probability_by_guessing=2.0**-16,
    share_low=0.79,
    share_high=1.0,
    interval_of="these listeners",
    shown=True,
)

BANDS_HZ = np.array(third_octaves_hz(50.0, 5000.0))


def music(by_excitation_db: float, by_schroeder_db: float, *, at_hz: float, above_floor_db: float = 40.0):
    """Two levels; at the louder one the margins are these in the third octave about `at_hz`, and lower elsewhere."""
    here = np.abs(np.log(BANDS_HZ / at_hz)) < np.log(10.0**0.05)
    assert np.count_nonzero(here) == 1
    unit = np.ones(BANDS_HZ.size)
    loud = ProgrammeLevel(
        level_db_spl=91.0,
        change_db=0.0 * unit,
        coherence=unit,
        remainder_db=-40.0 * unit,
        floor_db=(-40.0 - above_floor_db) * unit,
        excitation_db=np.where(here, by_excitation_db, -30.0),
        schroeder_db=np.where(here, by_schroeder_db, -30.0),
    )
    quiet = replace(loud, level_db_spl=86.0, excitation_db=30.0 * unit, schroeder_db=30.0 * unit)
    return ProgrammeResult(frequency_hz=BANDS_HZ, levels=(quiet, loud))


def row(quantity: str, level: float, hz: float, *, speaks: str = "for"):
    return replace(ROW, quantity=quantity, level_db_spl=level, frequency_hz=hz, speaks=speaks)


@pytest.mark.parametrize("level", [86.0, 96.0])
@pytest.mark.parametrize("order", [2, 3, 5])
@pytest.mark.parametrize("hz", [50.0, 150.0, 1000.0])
def test_it_is_the_verdict_at_its_place(level, order, hz) -> None:
    margins = order_margins(HARMONICS[level], order)
    at = int(np.argmin(np.abs(margins.frequency_hz - hz)))
    expected = SAID[verdict(float(margins.excitation_db[at]), float(margins.schroeder_db[at]))]
    found = audible(row(f"h{order}", level, hz))
    assert (found.verdict, found.at_db_spl) == (expected, level)


def test_the_surest_order_at_the_highest_level_counts() -> None:
    quiet, loud = row("h5", 96.0, 30.0), row("h2", 96.0, 1000.0)
    assert [audible(one).verdict for one in (quiet, loud)] == ["no", "yes"]
    assert audible(quiet, loud).verdict == "yes"
    louder = audible(row("h2", 86.0, 1000.0), quiet)
    assert (louder.verdict, louder.at_db_spl) == ("no", 96.0)
    assert audible(row("h2", 86.0, 1000.0), replace(quiet, speaks="silent")).at_db_spl == 86.0


def test_nothing_is_said_of_what_rests_on_no_order_or_cannot_be_read() -> None:
    assert audible(row("compression_sweep", 96.0, 300.0)) is None
    assert audible(row("h2", 96.0, 1000.0, speaks="against")) is None
    assert audible(row("h2", 91.0, 1000.0)) is None  # a level of which there are no orders
    doubtful = {
        level: replace(one, orders=tuple(replace(each, doubtful=np.ones_like(each.doubtful)) for each in one.orders))
        for level, one in HARMONICS.items()
    }
    assert audible(row("h2", 96.0, 1000.0), harmonics=doubtful) is None
    uncalibrated = {level: replace(one, unit="dbfs") for level, one in HARMONICS.items()}
    assert audible(row("h2", 96.0, 1000.0), harmonics=uncalibrated) is None


@pytest.mark.parametrize(
    ("both_db", "said"), [((3.1, 9.0), "yes"), ((2.9, 9.0), "perhaps"), ((-3.1, -9.0), "no"), ((-2.9, -9.0), "perhaps")]
)
def test_recorded_music_says_it_where_the_products_come_out(both_db, said) -> None:
    """The third harmonic of 1 kHz sounds at 3 kHz; single tones at 96 dB SPL no longer count."""
    found = audible(row("h3", 96.0, 1000.0), row("h3", 86.0, 1000.0), music=music(*both_db, at_hz=3000.0))
    assert (found.verdict, found.at_db_spl, found.of) == (said, 91.0, "recorded music")
    elsewhere = audible(row("h3", 86.0, 1000.0), music=music(20.0, 20.0, at_hz=1000.0))
    assert (elsewhere.verdict, elsewhere.of) == ("no", "recorded music")


def test_music_says_nothing_of_what_begins_above_its_level() -> None:
    """It was recorded up to 91 dB SPL: of what is there at 86 already it tells, of what 96 alone shows it does not."""
    recorded = music(20.0, 20.0, at_hz=2000.0)
    above, below = row("h2", 96.0, 1000.0), row("h2", 86.0, 1000.0)
    assert audible(above, music=recorded).of == "single tones"
    assert audible(above, below, music=recorded).of == "recorded music"


def test_music_that_does_not_tell_leaves_it_to_single_tones() -> None:
    """Where noise may have made what was added, where no third octave was judged, and at one level alone."""
    tone = audible(row("h2", 86.0, 1000.0))
    assert tone.of == "single tones"
    for other in (
        music(20.0, 20.0, at_hz=2000.0, above_floor_db=9.0),
        music(np.nan, np.nan, at_hz=2000.0),
        replace(music(20.0, 20.0, at_hz=2000.0), levels=()),
    ):
        assert audible(row("h2", 86.0, 1000.0), music=other) == tone
    assert audible(row("h2", 86.0, 4000.0), music=music(20.0, 20.0, at_hz=2000.0)).of == "single tones"  # at 8 kHz


def test_what_music_and_listeners_say_stands_side_by_side() -> None:
    """Of single tones nothing is said where listeners have answered."""
    listened = Listened(
        loudspeaker="Monitor A",
        test="0",
        files=1,
        listeners=1,
        runs=1,
        broken_off=0,
        repeated=0,
        forgetful=0,
        pairs=(PAIR,),
    )
    blind = "heard at 96 dB SPL in a blind test of all distortion together (1 listener, 16 of 16 right)"
    loud = replace(RISE, audible=Audible(verdict="yes", at_db_spl=91.0, of="recorded music"), evidence=(ROW,))
    by_music = "the added distortion: yes; in music at 91 dB SPL it stands above what the music masks (an estimate)"
    by_tones = "the added distortion: no, of single tones at 96 dB SPL (an estimate)"
    tones = replace(loud, audible=Audible(verdict="no", at_db_spl=96.0))
    nothing = replace(loud, audible=None)
    said = {one: [heard_words(each, ("desk",), one) for each in (loud, tones, nothing)] for one in (listened, None)}
    assert said[None] == [by_music, by_tones, ""]
    assert said[listened] == [f"{by_music}; {blind}", blind, blind]


def test_a_table_of_music_is_read_again_and_one_of_an_older_version_too() -> None:
    made = music(5.0, 7.0, at_hz=1000.0)
    columns = programme_columns(made)
    again = programme_of_columns(columns).levels[-1]
    np.testing.assert_array_equal(again.excitation_db, made.levels[-1].excitation_db)
    np.testing.assert_array_equal(again.schroeder_db, made.levels[-1].schroeder_db)
    older = programme_of_columns({name: one for name, one in columns.items() if not name.startswith("over_by")})
    assert np.all(np.isnan(older.levels[-1].excitation_db))
