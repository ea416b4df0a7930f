"""The ear's tables and formulas against published values, and margins against sums done by hand."""

import numpy as np
import pytest

from distort.analysis.hearing.audibility import (
    multitone_margins,
    order_margins,
    room_noise_db_spl,
    verdict,
    worst_of_octave,
)
from distort.analysis.hearing.masking import (
    THRESHOLD_DB_SPL,
    bark,
    critical_bandwidth_hz,
    erb_hz,
    excitation_db,
    masked_by_excitation_db,
    masked_by_schroeder_db,
    schroeder_spread_db,
    threshold_of_hearing_db_spl,
)
from distort.analysis.sweep.noise import NoiseDensity
from tests import report_examples as examples

# fmt: off
ISO_226_EXPONENT = np.array([
    0.532, 0.506, 0.480, 0.455, 0.432, 0.409, 0.387, 0.367, 0.349, 0.330, 0.315, 0.301, 0.288, 0.276, 0.267,
    0.259, 0.253, 0.250, 0.246, 0.244, 0.243, 0.243, 0.243, 0.242, 0.242, 0.245, 0.254, 0.271, 0.301,
])
# fmt: on
# fmt: off
ISO_226_TRANSFER_DB = np.array([
    -31.6, -27.2, -23.0, -19.1, -15.9, -13.0, -10.3, -8.1, -6.2, -4.5, -3.1, -2.0, -1.1, -0.4, 0.0, 0.3, 0.5,
    0.0, -2.7, -4.1, -1.0, 1.7, 2.5, 1.2, -2.1, -7.1, -11.2, -10.7, -3.1,
])
# fmt: on
"""alpha_f and L_U of ISO 226:2003, table 1."""
# fmt: off
FORTY_PHON_DB_SPL = np.array([
    99.854, 93.944, 88.166, 82.629, 77.785, 73.083, 68.478, 64.371, 60.586, 56.702, 53.409, 50.399, 47.577,
    44.977, 43.051, 41.339, 40.062, 40.010, 41.819, 42.508, 39.230, 36.509, 35.609, 36.649, 40.008, 45.828,
    51.797, 54.284, 51.486,
])
# fmt: on
"""What `equal_loudness_contours(40)` of mosqito 1.2.1, a general-purpose library, gives at those 29 frequencies."""


def test_the_threshold_is_that_of_the_standard() -> None:
    """The equal-loudness contour of 40 phon by ISO 226:2003, formula (1), from our thresholds, is that of a reference
    library, whose every value is rounded to 0.001 dB here; and values of ISO 389-7:2005."""
    thresholds = np.array([value for hz, value in THRESHOLD_DB_SPL.items() if hz <= 12500.0])
    inner = 4.47e-3 * (10.0 ** (0.025 * 40.0) - 1.15)
    inner = inner + (0.4 * 10.0 ** ((thresholds + ISO_226_TRANSFER_DB) / 10.0 - 9.0)) ** ISO_226_EXPONENT
    contour = 10.0 / ISO_226_EXPONENT * np.log10(inner) - ISO_226_TRANSFER_DB + 94.0
    np.testing.assert_allclose(contour, FORTY_PHON_DB_SPL, rtol=0, atol=6e-4)
    np.testing.assert_allclose(
        threshold_of_hearing_db_spl([125.0, 1000.0, 4000.0, 8000.0]), [22.1, 2.4, -5.4, 12.6], rtol=0, atol=1e-12
    )


def test_the_threshold_between_and_outside_the_table() -> None:
    """Half way between 1 and 1.25 kHz on a log axis: the mean of 2.4 and 3.5 dB. The table ends at 20 Hz and 16 kHz."""
    assert threshold_of_hearing_db_spl(np.sqrt(1000.0 * 1250.0)) == pytest.approx(2.95, abs=1e-9)  # exact but rounding
    assert np.isnan(threshold_of_hearing_db_spl([15.0, 17000.0])).all()
    assert threshold_of_hearing_db_spl(19.953) == pytest.approx(78.5)  # the grid's 20 Hz


def test_critical_bands_are_those_of_the_table() -> None:
    """Edges of the critical bands by Zwicker, J. Acoust. Soc. Am. 33, 1961; Traunmueller states 0.05 Bark for his
    formula from 0.2 to 6.7 kHz, and the table itself is rounded to some 0.1 Bark at its ends. Widths of the same table:
    100, 160, 550 and 1800 Hz at 0.25, 1, 3.4 and 8.5 kHz; the formula of 1980 holds them within 10 %."""
    edges_hz = [
        200,
        300,
        400,
        510,
        630,
        770,
        920,
        1080,
        1270,
        1480,
        1720,
        2000,
        2320,
        2700,
        3150,
        3700,
        4400,
        5300,
        6400,
    ]
    np.testing.assert_allclose(bark(edges_hz), np.arange(2, 21), rtol=0, atol=0.09)
    np.testing.assert_allclose(bark([100, 7700, 9500]), [1, 21, 22], rtol=0, atol=0.25)
    np.testing.assert_allclose(critical_bandwidth_hz([250, 1000, 3400, 8500]), [100, 160, 550, 1800], rtol=0.1)


def test_spreading_functions_by_hand() -> None:
    """Schroeder, Atal and Hall: -7.908, -0.001, -4.306 dB at -1, 0, 1 Bark (computed apart)."""
    np.testing.assert_allclose(schroeder_spread_db(np.array([-1.0, 0.0, 1.0])), [-7.908, -0.001, -4.306], atol=6e-4)
    masker_hz, masker_db = np.array([1000.0]), np.array([80.0])
    for at_hz in (2000.0, 500.0):
        apart = float(bark(at_hz) - bark(1000.0))
        expected = 80.0 + schroeder_spread_db(np.array(apart)) - 15.5 - bark(at_hz)
        found = masked_by_schroeder_db(masker_hz, masker_db, np.array([at_hz]))[0]
        assert found == pytest.approx(float(expected), abs=1e-9)


def test_a_filter_is_as_wide_as_its_erb() -> None:
    """ERB at 1 kHz: 24.7 x 5.37 = 132.6 Hz (Glasberg and Moore 1990). A filter at the level at which nothing widens
    lets pass of white noise what a rectangle of that width does: the integral of (1 + p g) e^(-p g) is 2 / p a side."""
    assert float(erb_hz(1000.0)) == pytest.approx(132.639)
    for middle in (200.0, 1000.0, 5000.0):
        hz = np.linspace(1.0, 3.0 * middle, 200_001)
        passed = 10.0 ** ((excitation_db(hz, np.array(51.0), np.array(middle)) - 51.0) / 10.0)
        width = float(np.sum(passed) * (hz[1] - hz[0]))
        assert width == pytest.approx(float(erb_hz(middle)), rel=2e-3)  # what lies below 0 Hz and above 3 fc is missing


def test_excitation_by_hand() -> None:
    """1 kHz at 96 dB SPL, heard at 2 kHz: ERB 24.7 x 9.74 = 240.58 Hz, p = 8000 / 240.58 = 33.253; widened by 1 - 0.35
    x 45 / 30.157 = 0.47774 to 15.886; p g = 7.943: 10 lg 8.943 - 34.496 = -24.981 dB. Downwards nothing widens: at 500
    Hz ERB 78.67 Hz, p = 25.422, g = 1: 10 lg 26.422 - 110.41 = -96.19 dB."""
    masker_hz, masker_db = np.array([1000.0]), np.array([96.0])
    assert excitation_db(masker_hz, masker_db, np.array([2000.0]))[0] == pytest.approx(96.0 - 24.981, abs=0.01)
    assert excitation_db(masker_hz, masker_db, np.array([500.0]))[0] == pytest.approx(96.0 - 96.19, abs=0.02)
    assert excitation_db(masker_hz, masker_db, masker_hz)[0] == 96.0
    masked = masked_by_excitation_db(masker_hz, masker_db, np.array([2000.0]))[0]
    assert masked == pytest.approx(96.0 - 24.981 - 14.5 - float(bark(2000.0)), abs=0.01)


def test_masking_spreads_upwards_with_level_and_never_rises() -> None:
    at = np.array([3000.0])
    re_tone = [
        float(masked_by_excitation_db(np.array([1000.0]), np.array([level]), at)[0]) - level
        for level in (60.0, 80.0, 100.0, 110.0)
    ]
    assert np.all(np.diff(re_tone) > 5.0)
    louder = float(masked_by_excitation_db(np.array([1000.0]), np.array([130.0]), at)[0]) - 130.0
    assert louder == pytest.approx(re_tone[-1])  # filters were measured up to less
    assert louder < 0.0


@pytest.mark.parametrize("spectrum_db", [0.0, -3.0, 3.0], ids=["pink", "falling", "rising"])
@pytest.mark.parametrize("level_db", [60.0, 75.0, 85.0])
def test_all_is_heard_of_full_distortion_and_nothing_of_the_faintest(spectrum_db, level_db) -> None:
    """Distortion as loud as the lines stands 5.5 dB over what they mask, by both models; 90 dB below it is masked."""
    band_hz = 1000.0 * 10.0 ** (0.1 * np.arange(-12, 11))
    lines_db = level_db + spectrum_db * np.log2(band_hz / 1000.0)
    for distortion_db, said in ((-90.0, "not audible"), (0.0, "audible")):
        margins = multitone_margins(
            band_hz,
            lines_db_spl=lines_db,
            distortion_db=np.full(band_hz.size, distortion_db),
            doubtful=np.zeros(band_hz.size, dtype=bool),
        )
        found = {
            verdict(*both) for both in zip(margins.excitation_db.tolist(), margins.schroeder_db.tolist(), strict=True)
        }
        assert found == {said}
    above = lines_db > threshold_of_hearing_db_spl(band_hz) + 10.0
    assert margins.excitation_db[above] == pytest.approx(5.5)
    assert margins.schroeder_db[above] == pytest.approx(5.5)


def test_margin_of_an_order_by_hand() -> None:
    """Third order of 1 kHz at 86 dB SPL, 50 dB below it: heard at 3 kHz at 36 dB SPL."""
    orders = examples.harmonics(orders=3)
    row = examples.row_of(1000.0)
    margins = order_margins(orders, 3)
    third = orders.orders[1]
    apart = float(bark(3000.0) - bark(1000.0))
    by_excitation = float(masked_by_excitation_db(np.array(1000.0), np.array(86.0), np.array(3000.0)))
    by_schroeder = 86.0 + float(schroeder_spread_db(np.array(apart))) - 15.5 - float(bark(3000.0))
    assert margins.excitation_db[row] == pytest.approx(third.level_db[row] - by_excitation, abs=1e-9)
    # Schroeder's lies below the threshold of hearing there (-5.7 dB at 3 kHz, between -4.2 and -6.0), which counts
    hearing_db = float(threshold_of_hearing_db_spl(3000.0))
    assert by_schroeder < hearing_db + 30.0
    assert margins.schroeder_db[row] == pytest.approx(third.level_db[row] - max(by_schroeder, hearing_db), abs=1e-9)


def test_never_below_the_threshold_of_hearing_nor_the_room() -> None:
    """With a masker of -40 dB SPL nothing is masked: the margin is the level less the threshold of hearing; and over a
    room of 60 dB in every critical band it is less by what that exceeds it, 4 dB below the noise."""
    orders = examples.harmonics(orders=2)
    faint = type(orders)(**{**vars(orders), "fundamental_db": np.full_like(orders.fundamental_db, -40.0)})
    rows = (2.0 * orders.frequency_hz > 25.0) & (2.0 * orders.frequency_hz < 16000.0)
    at_hz = 2.0 * orders.frequency_hz[rows]
    level_db = orders.orders[0].level_db[rows]
    in_quiet = order_margins(faint, 2)
    np.testing.assert_allclose(in_quiet.excitation_db[rows], level_db - threshold_of_hearing_db_spl(at_hz), atol=1e-9)
    np.testing.assert_array_equal(in_quiet.excitation_db, in_quiet.schroeder_db)
    for noise_db in (60.0, 20.0):  # the second is below the threshold of hearing at low frequencies
        noisy = order_margins(faint, 2, noise_db_spl=np.full(orders.frequency_hz.size, noise_db))
        expected = level_db - np.maximum(threshold_of_hearing_db_spl(at_hz), noise_db - 4.0)
        np.testing.assert_allclose(noisy.excitation_db[rows], expected, atol=1e-9)


def test_noise_in_a_critical_band_by_hand() -> None:
    """White noise of density d in a band of w Hz has the power d w; full scale (a sine of power 1/2) is 120 dB SPL."""
    frequency_hz = np.arange(0.0, 24000.1, 2.5)
    noise = NoiseDensity(
        frequency_hz=frequency_hz, density=np.full(frequency_hz.size, 1e-12), sample_rate=48000, seconds=1
    )
    at_hz = np.array([200.0, 1000.0, 5000.0])
    expected = 120.0 + 10.0 * np.log10(2.0 * 1e-12 * critical_bandwidth_hz(at_hz))
    np.testing.assert_allclose(room_noise_db_spl(noise, full_scale_db_spl=120.0, at_hz=at_hz), expected, atol=1e-9)


def test_one_band_of_a_multitone_masks_as_one_tone() -> None:
    """Lines in one band alone: at another band it masks as that tone does, beside the line that is there."""
    band_hz = np.array([500.0, 1000.0, 4000.0])
    lines_db = np.array([np.nan, 80.0, 20.0])
    margins = multitone_margins(
        band_hz,
        lines_db_spl=lines_db,
        distortion_db=np.full(3, -10.0),
        doubtful=np.array([False, False, True]),
    )
    other = excitation_db(np.array([1000.0]), np.array([80.0]), np.array([4000.0]))[0]
    together = 10.0 * np.log10(10.0 ** (other / 10.0) + 10.0**2.0)  # and its own line of 20 dB
    beside = excitation_db(np.array([1000.0]), np.array([70.0]), np.array([4000.0]))[0]
    own = 10.0 * np.log10(10.0 ** (beside / 10.0) + 10.0)  # 10 dB SPL, and what 1 kHz spreads
    assert margins.excitation_db[2] == pytest.approx(own - (together - 5.5), abs=1e-9)
    assert np.isnan(margins.excitation_db[0])
    assert margins.doubtful.tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("both", "said"),
    [
        ((10.0, 5.0), "audible"),
        ((10.0, 2.0), "perhaps"),
        ((-20.0, 20.0), "perhaps"),
        ((-3.0, -9.0), "perhaps"),
        ((-20.0, -4.0), "not audible"),
        ((np.nan, 20.0), "unknown"),
    ],
)
def test_a_verdict_needs_both_models(both, said) -> None:
    assert verdict(*both) == said


def test_the_worst_of_an_octave_leaves_doubtful_readings_out() -> None:
    orders = examples.harmonics(orders=2)
    margins = order_margins(orders, 2)
    row = worst_of_octave(margins, 1000.0, lowest_hz=25.0)
    assert row is not None
    inside = (orders.frequency_hz >= 707.94) & (orders.frequency_hz < 1412.53)
    assert inside[row]
    mean = margins.excitation_db + margins.schroeder_db
    assert mean[row] == np.max(mean[inside])
    spoilt = type(margins)(**{**vars(margins), "doubtful": np.ones(mean.size, dtype=bool)})
    assert worst_of_octave(spoilt, 1000.0, lowest_hz=25.0) is None
    assert worst_of_octave(margins, 1000.0, lowest_hz=2000.0) is None


def test_without_a_sound_pressure_level_nothing_is_judged() -> None:
    orders = examples.harmonics(orders=2)
    with pytest.raises(ValueError, match="calibrate"):
        order_margins(type(orders)(**{**vars(orders), "unit": "dbfs"}), 2)
