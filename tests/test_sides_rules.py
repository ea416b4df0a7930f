"""What two conditions have in common, side by side: calibrations, steps of equal output, and how a side is read."""

from dataclasses import replace

import numpy as np
import pytest

from distort.analysis.common.curves import Harmonics, Order
from distort.analysis.common.microphone import MicrophoneResponse
from distort.analysis.common.quantities import CHANGE, CHANGE_OF_MULTITONE, EVEN, GAIN, GAIN_OF_MULTITONE, RESPONSE
from distort.analysis.comparison.curves import ROWS_OF_BAND, changes
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES
from distort.assembly.comparison.comparing import compare_sides, default_basis
from distort.assembly.comparison.setup_differences import same_multitones
from distort.assembly.comparison.side import Side, read_side
from distort.assembly.condition.evidence import order_curves
from distort.session.calibration.reference_responses import MicrophoneUsed, SessionMicrophone
from distort.session.plan.reading import read_plan
from signals import framed
from tests.session_examples import SIDECAR
from tests.test_recorded_rules import (
    HZ,
    OUTPUT_DB,
    READABLE,
    desk,
    folder,
    quantities,
    side,
    told,
    tone,
)

__all__ = ["desk", "folder"]


def test_one_loudspeaker_is_compared_at_equal_drive_and_two_at_equal_output(folder):
    other = replace(SIDECAR.loudspeaker, unit="right")
    a, b = side(folder), side(folder, "stand", sidecars=[{"turned_db": 0.0, "loudspeaker": other}])
    assert default_basis(a, a) == "drive"
    assert default_basis(a, b) == "output"
    assert compare_sides(a, b).basis == "output"


def test_multitones_of_other_phases_are_not_compared(folder):
    """The drive alone may differ: it goes with the level."""
    one, louder, other = tone(), tone(drive_dbfs=-20.0), tone(seed=7)
    assert same_multitones(side(folder, tones=[one]), side(folder, tones=[louder]))
    assert same_multitones(side(folder, tones=[one]), side(folder))
    assert not same_multitones(side(folder, tones=[one]), side(folder, tones=[other]))
    found = compare_sides(side(folder, tones=[one]), side(folder, "stand", tones=[other]), basis="drive")
    assert not {name for name, _ in quantities(found)} & {"even", "odd", "change-multitone"}
    assert ("h2", 86.0) in quantities(found)


def test_what_two_sides_do_not_have_in_common(folder):
    """Half a kelvin is the same temperature; 10 K of 293 change the speed of sound by 1.7 %; a day
    is no long time."""
    assert told(side(folder), side(folder)) == {}
    warm = replace(SIDECAR.setup, temperature_c=SIDECAR.setup.temperature_c + 10.0, distance_m=1.5)
    other = side(
        folder,
        sidecars=[
            {
                "turned_db": None,
                "setup": warm,
                "loudspeaker": replace(SIDECAR.loudspeaker, firmware="2.1"),
                "device": "card",
                "simulated": False,
                "date": "2024-05-02T12:31:00+00:00",
                "calibration": replace(SIDECAR.calibration, calibrator_dbfs=-27.0),
            }
        ],
    )
    found = told(side(folder), other)
    assert found["temperature"][:2] == ("20 degC", "30 degC")
    # sqrt(303.15 / 293.15) = 1.01691, and its inverse 0.98337: sound goes as the root of the absolute temperature.
    assert found["temperature"][2].startswith("sound is 1.7 % faster in B")
    assert told(other, side(folder))["temperature"][2].startswith("sound is 1.7 % slower in B")
    assert found["distance"][:2] == ("1 m", "1.5 m")
    assert found["firmware"][:2] == ("not said", "2.1")
    assert found["player and recorder"][:2] == ("simulated loudspeaker", "card")
    assert found["origin"][:2] == ("simulated", "measured")
    assert found["date"][:2] == ("2024-05-01", "2024-05-02")
    assert found["calibration"][:2] == ("-26.31 dBFS in the calibrator", "-27.00 dBFS in the calibrator")
    assert found["volume control"][:2] == ("", "not said")
    assert told(other, side(folder))["volume control"][:2] == ("not said", "")
    for apart_k, is_told in ((0.4, False), (0.5, True)):
        setup = replace(SIDECAR.setup, temperature_c=SIDECAR.setup.temperature_c + apart_k)
        assert (
            "temperature" in told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "setup": setup}]))
        ) == is_told
    for date, is_told in (("2024-05-02T12:29:00+00:00", False), ("2024-05-02T12:31:00+00:00", True)):
        assert ("date" in told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "date": date}]))) == is_told
    slower = replace(SIDECAR.stimulus, seconds=2.0)
    found = told(side(folder), side(folder, sidecars=[{"turned_db": 0.0, "stimulus": slower, "reel": framed(slower)}]))
    assert found["sweep, seconds"][:2] == ("1", "2")
    assert told(side(folder, tones=[tone()]), side(folder))["multitone"][:2] == ("played", "none")
    gated = replace(
        side(folder),
        plan=replace(read_plan(folder.root), analysis=replace(read_plan(folder.root).analysis, gate_ms=5.0, orders=4)),
    )
    found = told(side(folder), gated)
    assert found["time gate"][:2] == ("none", "5 ms")
    assert found["orders separated"][:2] == ("3", "4")


def test_a_response_file_that_one_side_has_is_told(folder):
    """By its contents, not by its name."""

    def with_file(name: str, sha256: str) -> Side:
        response = MicrophoneResponse(frequency_hz=np.array([10.0, 20000.0]), level_db=np.zeros(2), phase_deg=None)
        used = MicrophoneUsed(
            file=name, sha256=sha256, response_is="response", zero_hz=1000.0, low_hz=10.0, high_hz=20000.0
        )
        return replace(side(folder), microphone=SessionMicrophone(response=response, used=used))

    one, other, bare = with_file("a.txt", "1" * 64), with_file("b.txt", "2" * 64), side(folder)
    what = "microphone response file"
    assert told(one, bare)[what][:2] == ("a.txt (11111111)", "none")
    assert told(bare, one)[what][:2] == ("none", "a.txt (11111111)")
    assert told(one, other)[what][:2] == ("a.txt (11111111)", "b.txt (22222222)")
    assert what not in told(one, with_file("b.txt", "1" * 64))


def test_a_side_read_from_its_recordings(folder, desk):
    """Every level's response at its own output, compression from the gains against the lowest, drives as played."""
    found = read_side(folder, "desk", name="A", progress=lambda what, done, total: None)
    assert found.drives_dbfs == {76.0: -40.0, 86.0: -30.0, 96.0: -20.0}
    assert (found.set_ups, found.takes) == (1, 2)
    assert found.volume_known
    compression = changes(found.curves, {GAIN: 76.0, GAIN_OF_MULTITONE: 76.0})
    by_key = {(one.quantity, one.level_db_spl, one.octaves): one for one in (*found.curves, *compression)}
    for octaves, step in ROWS_OF_BAND.items():
        rows = READABLE[::step]
        response = by_key[RESPONSE, 86.0, octaves]
        np.testing.assert_allclose(response.value_db[rows], OUTPUT_DB[86.0], atol=0.02)
        change = by_key[CHANGE, 96.0, octaves]
        np.testing.assert_allclose(change.value_db[rows], -1.0 - 0.05, atol=0.02)
        assert by_key[RESPONSE, 76.0, octaves].replicates_db.shape[0] == 2
        assert by_key[RESPONSE, 86.0, octaves].replicates_db is None
    assert by_key[EVEN, 96.0, BROAD_OCTAVES].frequency_hz.size > 5
    np.testing.assert_allclose(by_key[CHANGE_OF_MULTITONE, 96.0, BROAD_OCTAVES].value_db, -1.0, atol=0.02)
    # the power mean over the plan's band, as far as the sweep goes
    assert found.outputs_db[86.0] == pytest.approx(OUTPUT_DB[86.0], abs=0.1)
    # repeats: after a rest alone, each width of band
    assert {one.octaves for one, _ in found.repeats} == {BROAD_OCTAVES, NARROW_OCTAVES}
    first, again = next(
        pair for pair in found.repeats if pair[0].octaves == NARROW_OCTAVES and pair[0].quantity == RESPONSE
    )
    np.testing.assert_allclose((again.value_db - first.value_db)[READABLE], 0.2, atol=0.02)
    assert len(found.recordings) == 4 + 3


def test_orders_are_handed_on_with_their_floors():
    """The floor of an order is its noise, or its leak and the 15 dB by which a leak must lie deeper, or what the chain
    may make; where the noise is not known no floor is."""
    nothing = np.full(HZ.size, np.nan)

    def order(number: int, noise_db: float, leak_db: float, chain_db: float) -> Order:
        return Order(
            order=number,
            relative_db=np.full(HZ.size, -30.0),
            noise_db=np.full(HZ.size, noise_db),
            leak_db=np.full(HZ.size, leak_db),
            chain_db=np.full(HZ.size, chain_db),
            bias_db=nothing,
            uncertainty_db=np.full(HZ.size, 0.3),
            noise_uncertainty_db=np.full(HZ.size, 0.1),
            level_db=nothing,
            equivalent_input_db=nothing,
            doubtful=np.zeros(HZ.size, dtype=np.bool_),
        )

    harmonics = Harmonics(
        frequency_hz=HZ,
        fundamental_db=np.full(HZ.size, 80.0),
        unit="db_spl",
        thd_db=np.full(HZ.size, -27.0),
        thd_percent=nothing,
        thd_total_percent=nothing,
        thd_orders=np.full(HZ.size, 2),
        residual_db=nothing,
        orders=(
            order(2, -70.0, -90.0, np.nan),
            order(3, -70.0, -60.0, np.nan),
            order(4, -70.0, np.nan, -50.0),
            order(5, np.nan, -90.0, -50.0),
        ),
    )
    found = list(order_curves(harmonics, 96.0))
    assert [(one.order, one.level_db_spl) for one in found] == [(2, 96.0), (3, 96.0), (4, 96.0), (5, 96.0)]
    for one, floor_db in zip(found, (-70.0, -45.0, -50.0, np.nan), strict=True):
        np.testing.assert_allclose(one.floor_db, floor_db)
    assert [bool(one.readable.all()) for one in found] == [True, True, True, False]
    np.testing.assert_allclose(found[0].product_db, 50.0)
