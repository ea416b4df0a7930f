"""What a condition's results are put together from: every term by itself, and where each rule turns.

Results are stood in for by the fields that are asked of them; numbers beside a test are the contract.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.curves import Order
from distort.analysis.compression.curves import Output
from distort.analysis.heard import HeardParts
from distort.assembly.condition.audible import _in_music, _of_tones, _Row, _rows, _verdict_at
from distort.assembly.condition.evidence import _changes, _floor_db, _heating, _images, order_curves
from distort.assembly.condition.foreign import foreign_sounds
from distort.assembly.condition.heard import levelled
from distort.assembly.condition.level_limits import _drive_db, _multitones, _noise, _percent
from distort.assembly.condition.level_series import (
    _as_driven,
    _each_take_db,
    _lines_output,
    _repeat,
    _require_comparable,
    _short_output,
)
from distort.errors import AnalysisError
from tests.test_fault_changes import RISE, ROW

HZ = np.array([100.0, 200.0, 400.0, 800.0])

# --- evidence ---------------------------------------------------------------------------------------------------------


def order(number: int = 3, *, noise_db=-70.0, leak_db=np.nan, chain_db=np.nan) -> Order:
    rows = {"noise_db": noise_db, "leak_db": leak_db, "chain_db": chain_db, "relative_db": -40.0}
    others = ("bias_db", "uncertainty_db", "noise_uncertainty_db", "level_db", "equivalent_input_db")
    arrays = {name: np.full(4, value) for name, value in (rows | dict.fromkeys(others, 0.1)).items()}
    return Order(order=number, doubtful=np.zeros(4, dtype=bool), **arrays)


@pytest.mark.parametrize(
    ("noise_db", "leak_db", "chain_db", "floor_db"),
    [
        (-70.0, np.nan, np.nan, -70.0),
        (-70.0, -86.0, np.nan, -70.0),
        (-70.0, -84.0, np.nan, -69.0),
        (-70.0, np.nan, -71.0, -70.0),
        (-70.0, np.nan, -69.0, -69.0),
        (-70.0, -75.0, -69.0, -60.0),
        (np.nan, -75.0, -69.0, np.nan),
    ],
)
def test_the_floor_of_an_order_is_what_noise_decay_or_chain_may_have_made(noise_db, leak_db, chain_db, floor_db):
    """An order must be 10 dB over noise and chain, and 25 dB over decay: decay counts 15 dB more."""
    found = _floor_db(order(noise_db=noise_db, leak_db=leak_db, chain_db=chain_db))
    np.testing.assert_allclose(found, floor_db)


def touched(number: int, low_hz: float, high_hz: float):
    return SimpleNamespace(order=number, low_hz=low_hz, high_hz=high_hz)


def test_what_an_event_touches_lies_under_a_floor_without_end():
    """Of that order alone, its ends among it."""
    harmonics = SimpleNamespace(frequency_hz=HZ, fundamental_db=np.zeros(4), orders=(order(2), order(3)))
    second, third = order_curves(harmonics, 96.0, touched=[touched(3, 200.0, 400.0), touched(4, 100.0, 100.0)])
    assert (second.order, third.order, third.level_db_spl) == (2, 3, 96.0)
    assert np.isinf(third.floor_db).tolist() == [False, True, True, False]
    assert np.isinf(second.floor_db).tolist() == [False] * 4


@pytest.mark.parametrize(("source", "spoilt"), [("sweep", [False, True, True, False]), ("multitone", [False] * 4)])
def test_a_change_is_not_read_where_an_event_touches_either_fundamental(source, spoilt):
    """At the reference or at the level, in the sweep; the level between, and other orders, spoil nothing."""
    events = {
        76.0: (touched(1, 200.0, 200.0),),
        86.0: (touched(1, 100.0, 100.0),),
        96.0: (touched(1, 400.0, 400.0), touched(2, 800.0, 800.0)),
    }
    levels = [
        SimpleNamespace(level_db_spl=level, change_db=np.full(4, level), uncertainty_db=np.ones(4), bias_db=np.ones(4))
        for level in events
    ]
    curves = SimpleNamespace(levels=levels, source=source, frequency_hz=HZ)
    found = list(_changes(curves, SimpleNamespace(touched_at=lambda level: events[level])))
    assert [one.level_db_spl for one in found] == [86.0, 96.0]
    assert np.isnan(found[1].change_db).tolist() == spoilt
    assert {one.quantity.stimulus for one in found} == {source}
    assert np.nanmax(found[1].change_db) == 96.0


def test_an_image_touches_orders_as_it_does_at_the_highest_level():
    def level(db_spl: float, *stretches):
        return SimpleNamespace(level_db_spl=db_spl, touched=[touched(3, *one) for one in stretches])

    image = SimpleNamespace(offset_hz=3900.0, highest_db=-61.0)
    one = SimpleNamespace(image=image, levels=[level(86.0, (1.0, 2.0)), level(96.0, (3.0, 4.0), (5.0, 6.0))])
    (found,) = _images([one], 96.0)
    assert (found.difference_hz, found.highest_db, found.touched_hz) == (3900.0, -61.0, ((3.0, 4.0), (5.0, 6.0)))


def test_heat_is_told_of_octaves_of_which_it_is_known_with_its_interval():
    octaves = [
        SimpleNamespace(midband_hz=hz, heating_db=db, heating_uncertainty_db=sure)
        for hz, db, sure in ((125.0, -0.5, 0.1), (250.0, None, 0.1), (500.0, -0.5, None))
    ]
    found = list(_heating(SimpleNamespace(found=SimpleNamespace(octaves=octaves))))
    assert [(one.midband_hz, one.change_db, one.uncertainty_db) for one in found] == [(125.0, -0.5, 0.1)]


# --- level series -----------------------------------------------------------------------------------------------------


def taken(*, turned_db: float | None = 0.0, drive_dbfs: float = -20.0):
    sidecar = SimpleNamespace(turned_db=turned_db, drive_dbfs=drive_dbfs)
    return SimpleNamespace(sidecar=sidecar, files=SimpleNamespace(audio_path=SimpleNamespace(name="main.wav")))


@pytest.mark.parametrize(("rest_s", "rested"), [(None, False), (0.0, False), (59.0, False), (60.0, True)])
def test_a_repeat_is_rested_after_a_minute(monkeypatch, rest_s, rested):
    monkeypatch.setattr("distort.assembly.condition.level_series._driven", lambda one: "output")
    clock = SimpleNamespace(rest_s=lambda take: rest_s, began_s=lambda take: 700.0)
    found = _repeat(SimpleNamespace(takes=["first"]), clock)
    assert (found.rested, found.time_s, found.output) == (rested, 700.0, "output")


def test_the_volume_that_was_turned_is_part_of_the_drive():
    output = Output(drive_dbfs=-20.0, level_db=np.zeros(2), variance=np.zeros(2))
    for turned_db, drive_dbfs in ((None, -20.0), (3.0, -17.0), (-3.0, -23.0)):
        assert _as_driven(output, taken(turned_db=turned_db)).drive_dbfs == drive_dbfs


def test_a_short_sweep_says_something_where_its_drive_is_known(monkeypatch):
    monkeypatch.setattr("distort.assembly.condition.level_series._driven", lambda one: "output")
    assert _short_output(SimpleNamespace(takes=[taken()])) == "output"
    assert _short_output(SimpleNamespace(takes=[taken(turned_db=None)])) is None


def test_every_take_alone_is_an_output(monkeypatch):
    monkeypatch.setattr(
        "distort.assembly.condition.level_series.sweep_output",
        lambda read, reference: SimpleNamespace(level_db=np.full(2, read + reference)),
    )
    np.testing.assert_array_equal(
        _each_take_db(SimpleNamespace(alone=[1.0, 2.0], reference=80.0)), [[81.0] * 2, [82.0] * 2]
    )


def test_lines_have_the_variance_of_their_interval():
    """1.959964 x 10 / ln 10 x sqrt(v) dB."""
    interval_db = np.array([0.1, 0.4])
    result = SimpleNamespace(response=SimpleNamespace(uncertainty_db=interval_db, response_db=np.array([80.0, 81.0])))
    found = _lines_output(result, -20.0)
    np.testing.assert_allclose(found.variance, (interval_db * np.log(10.0) / 10.0 / 1.959964) ** 2, rtol=1e-6)
    np.testing.assert_array_equal(found.level_db, [80.0, 81.0])


def test_levels_are_compared_from_two_on_whose_drives_are_known():
    known = SimpleNamespace(takes=[taken(), taken()])
    _require_comparable({76.0: known, 96.0: known})
    with pytest.raises(AnalysisError, match="at least two levels"):
        _require_comparable({76.0: known})
    for levels in ((known, SimpleNamespace(takes=[taken(), taken(turned_db=None)])),):
        with pytest.raises(AnalysisError, match=r"before main\.wav"):
            _require_comparable(dict(enumerate(levels)))


# --- level limits of multitones ---------------------------------------------------------------------------------------


def bands(level_db=80.0, distortion_db=-40.0, floor_db=-60.0):
    arrays = {
        name: np.broadcast_to(np.asarray(value, dtype=float), (4,)).copy()
        for name, value in (("level_db", level_db), ("distortion_db", distortion_db), ("floor_db", floor_db))
    }
    return SimpleNamespace(frequency_hz=HZ, **arrays)


def tones(drive_dbfs: float, *, turned_db: float | None = 0.0, **more):
    return SimpleNamespace(
        takes=[taken(drive_dbfs=drive_dbfs, turned_db=turned_db)], result=SimpleNamespace(bands=bands(**more))
    )


def test_a_multitone_is_held_against_its_lowest_level_with_what_came_besides():
    """Output 18.5 dB up for 20 dB of drive and 1 dB of volume: 2.5 dB are lost. Coherence is `S / (S + D + N)`."""
    noise = SimpleNamespace(levels=[SimpleNamespace(level_db_spl=96.0, noise_db=np.array([68.5, np.nan, 78.5, 48.5]))])
    levels = {
        76.0: tones(-34.0, level_db=80.0, distortion_db=-20.0),
        96.0: tones(-14.0, turned_db=1.0, level_db=98.5, distortion_db=-10.0, floor_db=[-12.5, -13.1, -40.0, -40.0]),
    }
    low, high = _multitones(SimpleNamespace(multitones=levels), noise, from_hz=200.0)
    np.testing.assert_array_equal(low.change_db, 0.0)
    np.testing.assert_allclose(high.change_db, -2.5)
    np.testing.assert_allclose(low.coherence, 1.0 / 1.01)
    np.testing.assert_allclose(high.coherence, 1.0 / (1.1 + np.array([1e-3, 0.0, 1e-2, 1e-5])))
    # from 200 Hz on, where the floor is 12.8 dB down
    assert low.counts.tolist() == [False, True, True, True]
    assert high.counts.tolist() == [False, True, True, True]
    noisy = {76.0: tones(-34.0, floor_db=[-40.0, -12.5, -13.1, -40.0])}
    (alone,) = _multitones(SimpleNamespace(multitones=noisy), None, from_hz=100.0)
    assert alone.counts.tolist() == [True, False, True, True]
    assert np.isnan(_drive_db(tones(-14.0, turned_db=None)))
    unknown = levels | {96.0: tones(-14.0, turned_db=None, level_db=98.5)}
    assert list(_multitones(SimpleNamespace(multitones=unknown), None, from_hz=20.0))[1].distortion_percent is None


def test_percent_of_distortion_is_over_all_tones_that_count():
    """Powers: 10 x 1e-2 and 1 x 1e-1 over 11 is 1.818 %, an amplitude of 13.48 %."""
    made = bands(level_db=[90.0, 80.0, 120.0, 120.0], distortion_db=[-20.0, -10.0, 0.0, 0.0])
    counts = np.array([True, True, False, False])
    assert _percent(made, counts) == pytest.approx(100.0 * np.sqrt(0.2 / 11.0))
    assert _percent(made, np.zeros(4, dtype=bool)) is None
    np.testing.assert_array_equal(_noise(None, made), np.zeros(4))
    np.testing.assert_allclose(_noise(np.full(4, 70.0), made), [1e-2, 1e-1, 1e-5, 1e-5])


# --- what would be heard ----------------------------------------------------------------------------------------------


def music(excitation_db, schroeder_db=9.0, *, level: float = 96.0, doubtful=False, hz=(1000.0, 2000.0, 4000.0)):
    def rows(value, kind=float):
        return np.broadcast_to(np.asarray(value, dtype=kind), (len(hz),)).copy()

    one = SimpleNamespace(
        level_db_spl=level,
        excitation_db=rows(excitation_db),
        schroeder_db=rows(schroeder_db),
        doubtful=rows(doubtful, bool),
    )
    quiet = SimpleNamespace(
        level_db_spl=86.0, excitation_db=rows(-99.0), schroeder_db=rows(-99.0), doubtful=rows(False, bool)
    )
    return SimpleNamespace(levels=[quiet, one], frequency_hz=np.array(hz))


def row(order_number: int = 2, *, hz: float = 1000.0, level: float = 96.0) -> _Row:
    return _Row(level_db_spl=level, order=order_number, frequency_hz=hz)


def test_music_says_what_is_heard_where_the_product_comes_out():
    """In the third octave about n f; of a reading above its loudest level, or a doubtful one, nothing."""
    heard = music([-9.0, 9.0, -9.0])
    assert _in_music([row()], heard).verdict == "yes"
    assert _in_music([row()], heard).at_db_spl == 96.0
    assert _in_music([row(hz=500.0)], music([-9.0, 9.0, -9.0], -9.0)).verdict == "no"
    assert _in_music([row(hz=500.0), row()], heard).verdict == "yes"
    assert _in_music([row(level=96.1)], heard) is None
    assert _in_music([row(level=86.0)], heard).verdict == "yes"
    assert _in_music([row()], music(9.0, doubtful=[False, True, False])) is None
    assert _in_music([row()], None) is None
    assert _in_music([row()], SimpleNamespace(levels=[], frequency_hz=HZ)) is None
    half = 10.0**0.05
    for share, told in ((half * 0.999, True), (half * 1.001, False), (0.999 / half, False), (1.001 / half, True)):
        assert (_in_music([row(hz=1000.0 * share)], heard) is not None) is told


def margins(excitation_db, schroeder_db, doubtful):
    return SimpleNamespace(
        frequency_hz=HZ,
        excitation_db=np.array(excitation_db),
        schroeder_db=np.array(schroeder_db),
        doubtful=np.array(doubtful),
    )


def test_a_reading_is_judged_at_its_nearest_row_unless_it_is_doubtful():
    """Both models must agree by more than 3 dB."""
    made = margins([9.0, 9.0, -9.0, -9.0], [9.0, -9.0, -9.0, -9.0], [False, False, False, True])
    assert [_verdict_at(made, hz) for hz in (110.0, 210.0, 380.0, 790.0)] == [
        "audible",
        "perhaps",
        "not audible",
        "unknown",
    ]
    assert _of_tones([], {}) is None


def test_rows_of_orders_that_speak_for_a_finding_tell_who_would_hear_it():
    rows = [
        replace(ROW, quantity="h3"),
        replace(ROW, quantity="h2", speaks="silent"),
        replace(ROW, quantity="h4", level_db_spl=86.0),
        replace(ROW, quantity="compression_sweep"),
        replace(ROW, quantity="h2", frequency_hz=500.0),
    ]
    found = _rows(replace(RISE, evidence=tuple(rows)), {96.0: None})
    assert [(one.order, one.frequency_hz, one.level_db_spl) for one in found] == [(3, 1000.0, 96.0), (2, 500.0, 96.0)]


def test_a_sound_is_held_against_recordings_that_are_as_loud(monkeypatch):
    """Or louder; 0.05 dB less are as loud."""
    monkeypatch.setattr("distort.assembly.condition.foreign.not_of_the_loudspeaker", lambda heard, beside: beside)
    levels = {"own": 90.0, "same": 89.96, "less": 89.94, "more": 96.0}
    listened = [SimpleNamespace(heard=SimpleNamespace(plane=name), level_db=level) for name, level in levels.items()]
    assert foreign_sounds(listened[0], listened) == ["same", "more"]


# --- sounds -----------------------------------------------------------------------------------------------------------


def parts(intended, linear, compression, distortion) -> HeardParts:
    given = {"intended": intended, "linear": linear, "compression": compression, "distortion": distortion}
    nothing = {name: np.zeros(1) for name in ("frequency_hz", "intended_power", "noise_power")}
    return HeardParts(sample_rate=8000, **{name: np.array(one) for name, one in given.items()}, **nothing)


def test_sounds_have_one_gain_and_the_remainder_is_raised_besides():
    """The loudest peak, of either sign, is at -3 dBFS; the remainder is brought up to it in whole decibels, 60 at
    most."""
    made = parts([0.5, -0.25], [0.0, -0.25], [0.02, 0.0], [0.0, 0.01])
    sounds, gain_db = levelled(made)
    peak = 0.52
    assert gain_db == pytest.approx(-3.0 - 20.0 * np.log10(peak))
    gain = 10.0 ** (gain_db / 20.0)
    expected = [
        [0.5, -0.25],
        [0.52, -0.49],
        [0.02, -0.24],
        [0.52, -0.5],
        [0.5, -0.49],
    ]
    for sound, samples in zip(sounds, expected, strict=False):
        np.testing.assert_allclose(sound.samples, gain * np.array(samples), err_msg=sound.part)
    raised_db = np.floor(-3.0 - gain_db - 20.0 * np.log10(0.24))
    assert sounds[5].raised_db == raised_db == 6.0
    np.testing.assert_allclose(sounds[5].samples, gain * 10.0 ** (raised_db / 20.0) * made.remainder)
    faint = levelled(parts([0.5, -0.25], [0.0, 0.0], [1e-5, 0.0], [0.0, 1e-6]))[0]
    assert faint[5].raised_db == 60.0
    loud = levelled(parts([0.5, -0.25], [0.0, 0.0], [-0.47, 0.0], [0.0, 0.0]))[0]
    assert len(loud) == 5
    for room_db, count in ((1.05, 6), (0.95, 5)):
        part = -0.5 * 10.0 ** (-room_db / 20.0)
        assert len(levelled(parts([0.5, 0.0], [0.0, 0.0], [part, 0.0], [0.0, 0.0]))[0]) == count
