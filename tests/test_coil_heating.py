"""Voice coil temperature from compression, by the copper formula."""

import numpy as np
import pytest

from distort.analysis.compression.coil_heating import coil_change_db, coil_rise_k


def test_compression_of_a_voltage_driven_copper_coil():
    """1, 2, 3, 6 dB at 31.05, 65.88, 104.97, 253.25 K; 180 K at 4.65 dB (0.393 %/K, computed independently)."""
    assert coil_rise_k([-1.0, -2.0, -3.0, -6.0]) == pytest.approx([31.05, 65.88, 104.97, 253.25], abs=0.005)
    assert coil_change_db(180.0) == pytest.approx(-4.65, abs=0.005)


def test_resistance_that_stays_cold_weakens_the_effect():
    """`-20 log10((R20 (1 + 0.00393 x 100) + R20 / 2) / (R20 + R20 / 2))`, by hand: 1.893 / 1.5."""
    assert coil_change_db(100.0, other_share=0.5) == pytest.approx(-20 * np.log10(1.893 / 1.5))
    assert coil_rise_k(-20 * np.log10(1.893 / 1.5), other_share=0.5) == pytest.approx(100.0)


def test_the_coil_may_be_warm_before():
    """From 70 degC: R is 1.1965 of that at 20 degC, and 1.5895 after 100 K more."""
    assert coil_change_db(100.0, start_c=70.0) == pytest.approx(-20 * np.log10(1.5895 / 1.1965))
    assert coil_rise_k(coil_change_db(100.0, start_c=70.0), start_c=70.0) == pytest.approx(100.0)


def test_no_warming_explains_a_gain():
    rise = coil_rise_k([0.0, 0.5, np.nan])
    assert rise[0] == 0.0
    assert np.isnan(rise[1:]).all()


def test_what_has_no_meaning_is_refused():
    with pytest.raises(ValueError, match="other_share"):
        coil_rise_k(-1.0, other_share=-0.1)
    with pytest.raises(ValueError, match="temperatures in degC"):
        coil_change_db(100.0, start_c=-300.0)
    with pytest.raises(ValueError, match="temperatures in degC"):
        coil_change_db(-400.0)
