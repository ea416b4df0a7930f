"""What the limits of operation are held against, of multitones whose bands are written down."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.curves import Response
from distort.analysis.common.grid import grid_hz, midbands_hz
from distort.analysis.level_noise import NoiseLevel, NoiseResult
from distort.assembly.condition.level_limits import level_limits
from distort.session.plan.limits import LimitsPlan
from tests.test_report_multitone import flat_bands

HZ = midbands_hz(bands_per_octave=3)


def response(begins_hz: float) -> Response:
    """Flat from a frequency on, and 40 dB down below."""
    level_db = np.where(grid_hz() < begins_hz, 50.0, 90.0)
    return Response(
        frequency_hz=grid_hz(),
        level_db=level_db,
        phase_deg=np.zeros(level_db.size),
        noise_db=np.zeros(level_db.size),
        unit="db_spl",
        delay_s=0.0,
        lowest_valid_hz=20.0,
    )


def read_of(*levels, turned_db: float | None = 0.0):
    """Multitones of nominal level and bands, played at 100 dB less."""
    multitones = {
        level: SimpleNamespace(
            result=SimpleNamespace(bands=bands),
            takes=[SimpleNamespace(sidecar=SimpleNamespace(turned_db=turned_db, drive_dbfs=level - 100.0))],
        )
        for level, bands in levels
    }
    return SimpleNamespace(multitones=multitones)


def bands(level_db: float, *, even_db: float = -60.0, floor_db: float = -90.0):
    return flat_bands(level_db=level_db, even_db=even_db, odd_db=-200.0, floor_db=floor_db)


def limit(read, *, noise=None, begins_hz: float = 20.0, plan: LimitsPlan | None = None):
    further = {} if noise is None else {"noise": noise}
    found = level_limits(read, further, response=response(begins_hz), plan=plan or LimitsPlan())
    return found[0] if found else None


def test_change_is_that_of_the_tones_less_that_of_the_drive() -> None:
    found = limit(read_of((80.0, bands(60.0)), (90.0, bands(67.5))))
    assert (found.up_to_db_spl, found.ended_at_db_spl) == (80.0, 90.0)
    assert found.passed[0].limit == "broad-change"
    assert found.passed[0].value == pytest.approx(2.5)
    assert limit(read_of((80.0, bands(60.0)), (90.0, bands(68.5)))).up_to_db_spl == 90.0


def test_an_unknown_turn_of_the_volume_leaves_the_lowest_level_alone() -> None:
    found = limit(read_of((80.0, bands(60.0)), (90.0, bands(60.0)), turned_db=None))
    assert (found.up_to_db_spl, found.ended_at_db_spl) == (80.0, None)


@pytest.mark.parametrize(("even_db", "holds"), [(-20.1, True), (-19.9, False)])
def test_distortion_of_all_tones_is_held_against_its_limit(even_db: float, holds: bool) -> None:
    """10 % are -20 dB."""
    found = limit(read_of((80.0, bands(60.0, even_db=even_db))))
    assert (found.up_to_db_spl == 80.0) == holds
    if not holds:
        assert found.passed[0].limit == "distortion"
        assert found.passed[0].value == pytest.approx(100.0 * 10.0 ** (even_db / 20.0))


def test_noise_that_came_with_the_sound_takes_from_the_coherence() -> None:
    """Noise as strong as 1 / 5 of the tones at 1 kHz leaves 1 / 1.2 = 0.833, and fails there."""
    there = np.full(HZ.size, np.nan)
    there[np.isclose(HZ, 1000.0)] = 60.0 + 10.0 * np.log10(0.2)
    level = NoiseLevel(level_db_spl=80.0, noise_db=there, floor_db=there, uncertainty_db=there)
    noise = NoiseResult(
        frequency_hz=HZ,
        unit="db_spl",
        silence_db=np.zeros(HZ.size),
        growth_db_per_db=there,
        growth_uncertainty_db_per_db=there,
        levels=(level,),
    )
    found = limit(read_of((80.0, bands(60.0))), noise=noise)
    (passed,) = found.passed
    assert (passed.limit, passed.frequency_hz) == ("coherence", pytest.approx(1000.0))
    assert passed.value == pytest.approx(1.0 / 1.2, abs=1e-5)  # the distortion of -60 dB


def test_below_where_the_loudspeaker_begins_and_in_noise_nothing_is_judged() -> None:
    found = limit(read_of((80.0, bands(60.0))), begins_hz=100.0)
    assert found.judged == np.count_nonzero(HZ > 99.0)
    floor = np.where(HZ > 5000.0, -13.0, -12.0)  # 0.95 asks for -12.8 dB; two equal floors add up to 3 dB more
    noisy = replace(bands(60.0), even_floor_db=floor - 3.0103, odd_floor_db=floor - 3.0103)
    assert limit(read_of((80.0, noisy))).judged == np.count_nonzero(HZ > 5000.0)
    assert limit(read_of((80.0, bands(60.0, floor_db=0.0)))) is None


def test_limits_are_those_of_the_plan() -> None:
    strict = LimitsPlan(distortion_percent=0.05)
    assert limit(read_of((80.0, bands(60.0))), plan=strict).passed[0].limit == "distortion"
