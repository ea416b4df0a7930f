"""The finer structure of even orders: found where a device has it, and asked only where no plain one explains it."""

import numpy as np
import pytest

from distort.analysis.synthesis.choosing import Heard, misfit_db
from distort.analysis.synthesis.finer import finer_form
from distort.analysis.synthesis.kernels import equivalent_kernel
from distort.analysis.synthesis.products import Played
from distort.analysis.synthesis.structure import Structure
from distort.analysis.synthesis.ways import Form, ways_of
from tests.devices.branches import ADVANCE_HZ
from tests.test_synthesis import TONE, separated

PLAIN = Form(crossover_hz=None, even=(0.0,), odd=(0.5,))


@pytest.fixture(scope="module")
def device():
    """A device in which one factor of a square is advanced, and its multitone as computed directly."""
    known, orders = separated("one of a square, which is advanced")
    played = Played(tone=TONE, path=orders.spectra[0].power)
    made = known.products(TONE)[: played.top + 1]
    kernels = {2: equivalent_kernel(orders, 2)}
    return played, kernels, Heard(even_db=played.even_db(made), odd_db=np.full(played.even_db(made).size, np.nan))


def test_the_structure_of_a_device_is_found(device) -> None:
    """Its own f_a is among those that are tried; all else of the form stays."""
    played, kernels, heard = device
    found = finer_form(played, kernels, heard, PLAIN)
    assert found == Form(crossover_hz=None, even=(1.0,), odd=(0.5,), even_advance_hz=ADVANCE_HZ)
    (way,) = ways_of(kernels, None)
    made = {form: played.product(way.kernels[0], form.structure(0, 2), way) for form in (PLAIN, found)}
    # the averaging of E_n over 1/6 octave bends bands by under 0.1 dB; a plain structure is off by decibels
    assert misfit_db(heard.even_db, played.even_db(made[found])) < 0.1
    assert misfit_db(heard.even_db, played.even_db(made[PLAIN])) > 3.0


def test_powers_of_parts_together_are_those_of_their_sum(device) -> None:
    """|a + b|^2 = |a|^2 + |b|^2 + 2 Re a b*, in every band."""
    played, kernels, _ = device
    (way,) = ways_of(kernels, None)
    a, b = (played.product(way.kernels[0], one, way) for one in (Structure(), Structure(rate=1.0)))
    together = played.even_power(a, a) + played.even_power(b, b) + 2.0 * played.even_power(a, b)
    known = np.isfinite(together)
    np.testing.assert_allclose(10.0 * np.log10(together[known]), played.even_db(a + b)[known], rtol=1e-9)


def test_without_an_even_kernel_there_is_none(device) -> None:
    played, kernels, heard = device
    assert finer_form(played, {}, heard, PLAIN) is None
    nothing = Heard(even_db=np.full_like(heard.even_db, np.nan), odd_db=heard.odd_db)
    assert finer_form(played, kernels, nothing, PLAIN) is None


def test_upper_ways_keep_what_they_are_made_of(device) -> None:
    played, kernels, heard = device
    two = Form(crossover_hz=4000.0, even=(0.0, None), odd=(0.5, 0.0), even_rate=(0.5, 0.0))
    found = finer_form(played, kernels, heard, two)
    assert found is not None
    assert (found.crossover_hz, found.even[1:], found.odd) == (4000.0, (None,), (0.5, 0.0))
    assert found.structure(1, 2) == Structure(unfiltered=None)
    assert found.structure(0, 2).advance_hz is not None
    assert found.structure(0, 3).advance_hz is None
