"""What one side of a comparison lacks is lacking in it, and what both have is put side by side."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from distort.analysis.common.quantities import CHANGE, RESPONSE, THD, harmonic
from distort.analysis.comparison.curves import Curve
from distort.analysis.comparison.significance import compare
from distort.assembly.comparison.comparing import _of_anomalies, _of_findings
from distort.assembly.comparison.near_field import orders_alone
from distort.session.results.faults_found import FaultsFound
from tests.test_comparison_scatter import curve
from tests.test_fault_changes import DIP, RISE


@pytest.mark.parametrize("lacking", ["a", "b"])
def test_a_row_that_is_not_clear_on_either_side_has_no_difference(lacking) -> None:
    sides = {"a": curve(-40.0), "b": curve(-30.0)}
    clear = sides[lacking].clear.copy()
    clear[3] = False
    sides[lacking] = replace(sides[lacking], clear=clear)
    (found,) = compare([sides["a"]], [sides["b"]])
    expected = np.full(found.difference_db.shape, 10.0)
    expected[3] = np.nan
    np.testing.assert_allclose(found.difference_db, expected)
    assert np.isnan(found.uncertainty_db[3])
    assert not found.significant[3]


def test_findings_and_anomalies_are_compared_where_both_sides_have_them() -> None:
    """The same on both sides is kept; what one side alone has, and nothing can be read of, is told of that side."""
    found = FaultsFound(anomalies=(DIP,), findings=(RISE,))
    for compared in (_of_findings, _of_anomalies):
        assert [one.fate for one in compared([found, found], ((), ()))] == ["kept"]
        assert compared([found], ((), ())) == ()
        assert compared([], ((), ())) == ()
    nothing = FaultsFound(anomalies=(), findings=())
    (alone,) = _of_findings([found, nothing], ((), ()))
    assert (alone.a, alone.b) == (RISE, None)


@dataclass(frozen=True)
class Curves:
    """As much of a side as holds curves."""

    curves: tuple[Curve, ...]
    repeats: tuple[tuple[Curve, Curve], ...]


def test_in_the_near_field_an_order_counts_as_far_up_as_its_product_is_radiated() -> None:
    """Order n at f sounds at n f: up to 2 kHz the second counts up to 1 kHz, the third to 667 Hz. The response and what
    is stated by level are another matter there."""
    own = replace(curve(-40.0), frequency_hz=np.geomspace(200.0, 4000.0, 11))
    curves = tuple(replace(own, quantity=one) for one in (harmonic(2), harmonic(3), RESPONSE, CHANGE, THD))
    kept = orders_alone(Curves(curves, ((curves[0], curves[0]),)), 2000.0)
    assert [one.quantity for one in kept.curves] == [harmonic(2), harmonic(3)]
    assert kept.repeats == ()
    hz = curves[0].frequency_hz
    for one, order in zip(kept.curves, (2, 3), strict=True):
        assert one.clear.tolist() == (curves[0].clear & (hz <= 2000.0 / order)).tolist()
        assert one.clear.any()
        assert not one.clear.all()
