"""What a series of bursts comes to: where a limit is met between steps, what ended a band, and one number for all."""

import numpy as np
import pytest

from distort.analysis.burst import ORDERS, BurstReading
from distort.analysis.burst_series.judged import BurstLevel, judged_levels
from distort.analysis.burst_series.operating_limit import BurstLimit, burst_operating_limit
from distort.analysis.burst_series.result import BurstResult, burst_result
from distort.analysis.common.burst_limits import BurstLimits
from distort.analysis.sweep.sweeps import Reference
from distort.session.results.burst_table import burst_columns, burst_of

BANDS_HZ = np.array([100.0, 200.0])
FULL_SCALE_DB_SPL = 120.0
LIMITS = BurstLimits(ceiling_db_peak=108.0, max_drive_dbfs=-6.0)


def level(
    level_db_spl: float,
    *,
    lost_db: tuple[float, float] = (0.0, 0.0),
    orders_db: dict[int, tuple[float, float]] | None = None,
    noise_db: float = -90.0,
    bands: tuple[int, ...] = (0, 1),
    takes: int = 1,
) -> BurstLevel:
    """A reading by hand: a burst of amplitude A and unit length has the energy A^2 / 2; orders and noise re that."""
    drive_dbfs = level_db_spl - FULL_SCALE_DB_SPL
    lost = np.array(lost_db)[list(bands)]
    amplitude = 10.0 ** ((drive_dbfs - lost) / 20.0)
    relative = np.full((1 + len(ORDERS), len(bands)), 1e-12)
    relative[0] = 1.0
    for order, said in (orders_db or {}).items():
        relative[order - 1] = 10.0 ** (np.array(said)[list(bands)] / 10.0)
    energy = relative * amplitude**2 / 2.0
    noise = np.full_like(energy, 10.0 ** ((80.0 - FULL_SCALE_DB_SPL + noise_db) / 10.0) / 2.0)
    reading = BurstReading(
        frequency_hz=BANDS_HZ[list(bands)], energy=energy, noise=noise, leak=np.zeros_like(energy), peak=amplitude
    )
    return BurstLevel(
        level_db_spl=level_db_spl,
        drive_db=drive_dbfs,
        played_dbfs=drive_dbfs,
        reading=reading,
        reference=Reference(offset_db=FULL_SCALE_DB_SPL, unit="db_spl"),
        takes=takes,
    )


def result_of(*levels: BurstLevel, limits: BurstLimits = LIMITS) -> BurstResult:
    return burst_result(levels, limits)


def test_compression_is_met_between_two_steps() -> None:
    """2.5 dB at 96 and 4.5 at 98: 3 dB are met at a quarter, at 96.5, where the peak is 96.5 - 3 + 3.01."""
    found = result_of(level(80.0), level(96.0, lost_db=(2.5, 0.0)), level(98.0, lost_db=(4.5, 0.0)))
    assert found.ended_by == ("compression", "plan")
    np.testing.assert_allclose(found.level_db_spl, [96.5, 98.0])
    np.testing.assert_allclose(found.compression_db, [3.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(found.peak_db, [93.5 + 10.0 * np.log10(2.0), 98.0 + 10.0 * np.log10(2.0)], atol=1e-9)
    assert found.limited.tolist() == [True, False]


def test_the_limit_that_is_met_first_is_the_one_that_ends_a_band() -> None:
    """The second order, limit -10, goes from -16 to -4: met at half of the step. The third, limit -15, goes from -24 to
    -12: at three quarters. Compression, from 2.9 to 3.1 dB, is met at half as well in the other band."""
    low, high = {2: (-16.0, -60.0), 3: (-24.0, -60.0)}, {2: (-4.0, -60.0), 3: (-12.0, -60.0)}
    found = result_of(
        level(80.0), level(96.0, lost_db=(0.0, 2.9), orders_db=low), level(98.0, lost_db=(0.0, 3.1), orders_db=high)
    )
    assert found.ended_by == ("h2", "compression")
    np.testing.assert_allclose(found.level_db_spl, [97.0, 97.0])
    np.testing.assert_allclose(found.harmonics_db[:2, 0], [-10.0, -18.0], atol=1e-9)


@pytest.mark.parametrize(
    ("order", "limit_db"), [(2, -10.0), (3, -15.0), (4, -20.0), (5, -20.0), (6, -30.0), (8, -30.0)]
)
def test_every_order_has_its_own_limit(order, limit_db) -> None:
    """Those above the fifth share one."""
    under, over = (level(90.0, orders_db={order: (limit_db + step, -90.0)}) for step in (-0.01, 0.01))
    assert result_of(level(80.0), under).ended_by[0] == "plan"
    assert result_of(level(80.0), over).ended_by[0] == f"h{order}"


def test_an_order_within_its_noise_ends_nothing() -> None:
    """-8 dB, limit -10, but noise at -17 dB re the fundamental of 80 dB SPL: 9 dB below the order."""
    loud = level(82.0, orders_db={2: (-8.0, -60.0)}, noise_db=-15.0)
    assert result_of(level(80.0, noise_db=-15.0), loud).ended_by[0] == "plan"
    clear = level(82.0, orders_db={2: (-8.0, -60.0)}, noise_db=-17.0)
    assert result_of(level(80.0, noise_db=-17.0), clear).ended_by[0] == "h2"


def test_what_may_not_be_louder_is_ended_by_ceiling_or_drive() -> None:
    """104 dB SPL have a peak of 107.01, 0.99 dB below the ceiling: no step of 2 dB is left. Without it the drive, -16
    dBFS there, leaves 10 dB; at 113 dB SPL it leaves 1."""
    assert result_of(level(80.0), level(104.0)).ended_by == ("ceiling", "ceiling")
    assert result_of(level(80.0), level(102.0)).ended_by == ("plan", "plan")
    free = BurstLimits(max_drive_dbfs=-6.0)
    assert result_of(level(80.0), level(104.0), limits=free).ended_by == ("plan", "plan")
    assert result_of(level(80.0), level(113.0), limits=free).ended_by == ("drive", "drive")


def test_what_microphone_or_input_do_not_stand_is_ended_by_them() -> None:
    """104 dB SPL have a peak of 107.01 dB SPL, and 120 dB SPL are full scale: -16 dBFS at the input. Less than a step
    of 2 dB is left to 109 and to -14.1, more to 109.1 and to -13.9; the limit that is nearest is named."""
    first, last = level(80.0), level(104.0)
    for limits, ended_by in (
        (BurstLimits(microphone_db_peak=109.0), "microphone"),
        (BurstLimits(microphone_db_peak=109.1), "plan"),
        (BurstLimits(input_peak_dbfs=-14.1), "input"),
        (BurstLimits(input_peak_dbfs=-13.9), "plan"),
        (BurstLimits(microphone_db_peak=108.0, input_peak_dbfs=-15.5), "input"),
        (BurstLimits(microphone_db_peak=107.3, input_peak_dbfs=-15.5, ceiling_db_peak=108.0), "microphone"),
    ):
        assert result_of(first, last, limits=limits).ended_by == (ended_by, ended_by)
    lost = level(104.0, lost_db=(2.0, 0.0))  # the first band gives less, so more is left to it
    assert result_of(first, lost, limits=BurstLimits(input_peak_dbfs=-14.1)).ended_by == ("plan", "input")


def test_a_limit_passed_at_the_quietest_level_leaves_no_peak() -> None:
    found = result_of(level(80.0, orders_db={3: (-10.0, -60.0)}), level(82.0, bands=(1,)))
    assert found.ended_by == ("h3", "plan")
    assert np.isnan(found.peak_db[0])
    assert found.level_db_spl.tolist() == [80.0, 82.0]


def test_a_quietest_level_within_noise_says_nothing() -> None:
    """Noise 9 dB below the fundamental; 11 dB below it is enough."""
    assert result_of(level(80.0, noise_db=-9.0)).ended_by == ("noise", "noise")
    assert result_of(level(80.0, noise_db=-11.0)).ended_by == ("plan", "plan")
    assert burst_operating_limit(result_of(level(80.0, noise_db=-9.0))) is None


def test_four_recordings_of_the_quietest_level_are_the_reference_before_a_single_one() -> None:
    """The single one, with other bands, was half a decibel louder."""
    single = level(80.0, lost_db=(-0.5, 0.0), bands=(0,))
    four, loud = level(80.0, takes=4), level(90.0, lost_db=(1.0, 1.0))
    judged = judged_levels([single, loud, four])
    np.testing.assert_allclose(judged[-1].compression_db, [1.0, 1.0], atol=1e-9)


def test_levels_below_a_fault_count_and_those_above_do_not() -> None:
    """Whatever is said at 100 dB SPL, 3 dB are met between 96 and 98."""
    found = result_of(level(80.0), level(100.0), level(98.0, lost_db=(4.0, 0.0)), level(96.0, lost_db=(2.0, 0.0)))
    assert found.ended_by[0] == "compression"
    assert found.level_db_spl[0] == pytest.approx(97.0)


def test_the_operating_limit_is_where_the_first_band_meets_one() -> None:
    met = result_of(level(80.0), level(96.0, lost_db=(2.0, 0.0)), level(98.0, lost_db=(4.0, 0.0)))
    assert burst_operating_limit(met) == BurstLimit(
        level_db_spl=pytest.approx(97.0), ended_by="compression", frequency_hz=100.0
    )
    free = burst_operating_limit(result_of(level(80.0), level(90.0)))
    assert free == BurstLimit(level_db_spl=90.0, ended_by=None)
    # a band that was kept from more below that says how far it is known
    kept = result_of(
        level(80.0), level(96.0, bands=(0,), lost_db=(2.0, 0.0)), level(98.0, bands=(0,), lost_db=(4.0, 0.0))
    )
    assert burst_operating_limit(kept) == BurstLimit(level_db_spl=80.0, ended_by=None)


def test_its_table_gives_the_result_back() -> None:
    found = result_of(
        level(80.0, takes=4), level(96.0, lost_db=(2.0, 0.0)), level(98.0, lost_db=(4.0, 0.0), bands=(0,))
    )
    columns = burst_columns(found)
    assert list(columns)[:4] == ["frequency_hz", "peak_db_spl", "ended_by", "compression_db"]
    again = burst_of(columns)
    assert [one.level_db_spl for one in again.levels] == [80.0, 96.0, 98.0]
    assert np.isnan(again.levels[2].compression_db[1])
    np.testing.assert_allclose([one.compression_db[0] for one in again.levels], [np.nan, 2.0, 4.0], atol=1e-9)
    # as an older version wrote it: four orders, no levels
    old = {name: values for name, values in columns.items() if "dB" not in name and name[:2] not in ("h6", "h7", "h8")}
    before = burst_of(old)
    assert before.levels == ()
    assert np.isnan(before.harmonics_db[ORDERS.index(6)]).all()
    np.testing.assert_array_equal(before.harmonics_db[0], found.harmonics_db[0])
