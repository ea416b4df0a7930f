"""Which ways and structure explain a multitone best, and which multitones are predicted: products made by hand.

What a way makes of an order is drawn at random here for each structure; a mixture of them is what was "heard". The form
that was mixed must be found again to the last digit, which a share that is a little off is not.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from distort.analysis.common.grid import grid_hz
from distort.analysis.synthesis import choosing, prediction
from distort.analysis.synthesis.choosing import Heard, best_form
from distort.analysis.synthesis.kernels import Step, kernels_at
from distort.analysis.synthesis.predicted import LevelPredicted
from distort.analysis.synthesis.prediction import _chosen, _heard, _played
from distort.analysis.synthesis.structure import AFTER, RATE, Structure
from tests.test_synthesis_rules import spectrum

LINES = 60
KERNELS = {order: np.full(grid_hz().size, 1.0 + 0j) for order in (2, 3)}


class Made:
    """Products of every kernel, way and part, drawn at random."""

    top = LINES - 1

    def products(self, kernel, way, parts):
        edge = 0.0 if way.crossover_hz is None else way.crossover_hz
        draws = {part: np.random.default_rng([kernel.order, int(edge), int(way.upper), part + 1]) for part in parts}
        return {part: one.standard_normal(LINES) + 1j * one.standard_normal(LINES) for part, one in draws.items()}

    @staticmethod
    def even_db(made):
        return 20.0 * np.log10(np.abs(made))

    odd_db = even_db

    def mixed(self, order: int, crossover_hz, *shares):
        """Of the lower way and the upper one: a share of a structure, ("unfiltered" or "rate", share), or None."""
        total = np.zeros(LINES, dtype=complex)
        for upper, share in enumerate(shares):
            way = SimpleNamespace(crossover_hz=crossover_hz, upper=bool(upper))
            of = self.products(SimpleNamespace(order=order), way, (AFTER, RATE, order - 1, order))
            if share is None:
                total += of[AFTER]
            else:
                part = of[RATE] if share[0] == "rate" else of[order - 1]
                total += share[1] * part + (1.0 - share[1]) * of[order]
        return self.even_db(total)


MADE = Made()


@pytest.mark.parametrize("share", [0.0, 1.0, 0.5, -0.5, 0.25, -0.25, 0.125, -0.125, 0.75, 1.5, -1.0, 2.0])
def test_a_share_is_found_in_steps_of_6_db(share):
    heard = Heard(
        even_db=MADE.mixed(2, None, ("unfiltered", share)), odd_db=MADE.mixed(3, None, ("rate", share or 0.5))
    )
    form = best_form(MADE, KERNELS, heard)
    assert (form.crossover_hz, form.even, form.odd_rate) == (None, (share,), (share or 0.5,))


@pytest.mark.parametrize("crossover_hz", [1000.0, 2000.0, 4000.0])
def test_a_crossover_is_found_in_octaves(crossover_hz):
    """The upper way is plain, or filtered after."""
    heard = Heard(
        even_db=MADE.mixed(2, crossover_hz, ("unfiltered", 0.25), ("unfiltered", 1.0)),
        odd_db=MADE.mixed(3, crossover_hz, ("unfiltered", -0.5), None),
    )
    form = best_form(MADE, KERNELS, heard)
    assert form.crossover_hz == crossover_hz
    assert (form.even, form.odd) == ((0.25, 1.0), (-0.5, None))


@pytest.mark.parametrize(("odd_db", "crossover_hz"), [(7.0, 1000.0), (7.7, None)])
def test_a_part_counts_by_its_limit(monkeypatch, odd_db, crossover_hz):
    """3 dB of even and 5.5 dB of odd weigh alike. One way is 4 dB off in the even order alone, a crossover at 1 kHz in
    the odd one alone: it wins up to 4 x 5.5 / 3 = 7.33 dB."""
    off_db = {(None, 2): 4.0, (None, 3): 0.0, (1000.0, 2): 0.0, (1000.0, 3): odd_db}

    def tried(played, ways, order):
        yield (Structure(),) * len(ways), np.array([off_db.get((ways[0].crossover_hz, order), 99.0)])

    monkeypatch.setattr(choosing, "_tried", tried)
    plain = SimpleNamespace(even_db=lambda made: made, odd_db=lambda made: made)
    form = best_form(plain, KERNELS, Heard(even_db=np.zeros(1), odd_db=np.zeros(1)))
    assert form.crossover_hz == crossover_hz


# --- which multitones are predicted -----------------------------------------------------------------------------------


def step(drive_dbfs: float, **kernels) -> Step:
    found = {int(name[1:]): np.full(grid_hz().size, value + 0j) for name, value in kernels.items()}
    return Step(drive_dbfs=drive_dbfs, kernels=found, response=spectrum(1.0))


def multitone(
    level: float, drive_dbfs: float, *, turned_db: float = 0.0, even: int = 9, odd: int = 9
) -> SimpleNamespace:
    """So many bands of each stand clear of their floor."""
    middles = 1000.0 * 10.0 ** (np.arange(-14, 12) / 10.0)
    numbers = np.arange(middles.size) - 2
    clear = {name: np.where(numbers < count, -40.0, -60.0) for name, count in (("even", even), ("odd", odd))}
    floor = np.full(middles.size, -55.0)
    bands = SimpleNamespace(
        frequency_hz=middles, even_db=clear["even"], odd_db=clear["odd"], even_floor_db=floor, odd_floor_db=floor
    )
    return SimpleNamespace(
        level_db_spl=level, tone=SimpleNamespace(drive_dbfs=drive_dbfs - turned_db), turned_db=turned_db, bands=bands
    )


def test_bands_from_63_hz_to_10_khz_are_judged_10_db_above_their_floor():
    one = multitone(81.0, -30.0)
    clear = np.where(np.arange(26) % 2, -44.9, -45.1)
    one.bands.even_db, one.bands.odd_db = clear, np.full(26, -45.0)
    found = _heard(one)
    assert list(np.flatnonzero(np.isfinite(found.odd_db))) == list(range(2, 25))
    assert list(np.flatnonzero(np.isfinite(found.even_db))) == list(range(3, 25, 2))


def test_a_form_is_chosen_at_the_lowest_level_that_says_enough():
    """Eight bands of even and of odd; of one of them where no level has both."""
    neither, few = multitone(76.0, -35.0, even=7, odd=7), multitone(81.0, -30.0, even=8, odd=7)
    part, enough = multitone(86.0, -25.0, even=7), multitone(91.0, -20.0, even=8, odd=8)
    assert _chosen([neither, few, part, enough]) is enough
    assert _chosen([neither, few, part]) is few
    assert _chosen([neither, part]) is part
    assert _chosen([neither]) is None


def test_multitones_are_predicted_up_to_the_loudest_sweep_and_tried_3_db_beyond(monkeypatch):
    """Order 5 is read 10 lg 6 dB above a noise-like signal's drive; turned-up volume is drive."""
    steps = [step(-10.0), step(0.0)]
    edge = -10.0 * np.log10(6.0)
    tones = [
        multitone(level, edge + beyond_db, turned_db=turned_db)
        for level, beyond_db, turned_db in (
            (81.0, -10.0, 0.0),
            (86.0, 0.0095, 4.0),
            (91.0, 0.0105, 0.0),
            (93.0, 2.97, -3.0),
            (96.0, 3.15, 0.0),
        )
    ]
    asked = []
    monkeypatch.setattr(prediction, "best_form", lambda played, kernels, heard: asked.append(played.path) or "form")
    monkeypatch.setattr(
        prediction,
        "_level",
        lambda steps, one, form: LevelPredicted(level_db_spl=one.level_db_spl, even=None, odd=None),
    )
    found = prediction.predict(steps, tones)
    assert [(one.level_db_spl, one.held) for one in found.levels] == [
        (81.0, False),
        (86.0, False),
        (91.0, True),
        (93.0, True),
    ]
    assert (found.form, found.chosen_at_db_spl) == ("form", 81.0)
    assert found.unreached_db_spl == (91.0, 93.0, 96.0)
    assert found.needed_db_spl == pytest.approx(91.0 + 10.0 * np.log10(6.0))
    assert prediction.predict(steps, tones[:1]).needed_db_spl is None


@pytest.mark.parametrize(("drive_dbfs", "nearest"), [(-14.9, 1), (-15.1, 0), (-40.0, 0), (9.0, 2)])
def test_a_multitone_goes_by_the_response_of_the_nearest_sweep(drive_dbfs, nearest):
    steps = [step(-20.0), step(-10.0), step(0.0)]
    assert _played(multitone(81.0, drive_dbfs, turned_db=3.0), steps).path is steps[nearest].response.power


def test_kernels_are_straight_in_decibels_between_steps():
    """Order n at the drive + 10 lg(n + 1) dB; below the lowest step and above the highest as there."""
    steps = [step(0.0, e2=5.0, e3=1.0), step(-10.0, e2=1.0), step(-20.0, e2=2.0, e3=3.0)]
    at = kernels_at(steps, -5.0 - 10.0 * np.log10(3.0))
    assert at[2][0] == pytest.approx(3.0)
    assert at[3][0] == pytest.approx(3.0 - 2.0 * (15.0 + 10.0 * np.log10(4.0 / 3.0)) / 20.0)
    assert kernels_at(steps, -60.0)[2][0] == pytest.approx(2.0)
    assert kernels_at(steps, 60.0)[2][0] == pytest.approx(5.0)
