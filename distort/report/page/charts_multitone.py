"""The live chart of multitones: what was played, and the distortion and noise products, per third octave."""

import numpy as np
import numpy.typing as npt

from distort.analysis.common.curves import FloatArray
from distort.analysis.common.grid import band_edges_hz
from distort.analysis.multitone.curves import MultitoneBands
from distort.report.figures.multitone import multitone_top_db
from distort.report.figures.style import BLACK, FILL, GREY, ORDER_COLOURS
from distort.report.page.chart_data import Chart, Facet, Scale, Series, merged
from distort.report.page.chart_styles import ORDER_LINES
from distort.report.page.facets import Conditions, ascending, facets
from distort.report.text.multitone_bands import Part, third_octaves
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.tables_sweep import UNIT_NAMES

TONE_CURVES = ("lines", "distortion", "even", "odd", "noise")


def multitone_chart(conditions: Conditions) -> Chart:
    """Every band that any of them has."""
    tables = [bands for results in conditions for bands in results.multitones]
    levels = ascending([one.level_db_spl for results in conditions for one in results.findings.multitones])
    midbands_hz = merged([bands.frequency_hz for bands in tables])
    low_hz, high_hz = band_edges_hz(midbands_hz, bands_per_octave=3)
    top_db, unit = multitone_top_db(tables), tables[0].unit
    series: list[Series] = []
    for place, results in enumerate(conditions):
        for found, bands in zip(results.findings.multitones, results.multitones, strict=True):
            at, level = (place, levels.index(found.level_db_spl)), f"{level_name(found.level_db_spl)} dB"
            name = f"{results.findings.condition}, {level}" if len(conditions) > 1 else level
            series += _tone_series(bands, at, name, midbands_hz)
    return Chart(
        kind="multitone",
        title="Multitone distortion",
        frequency_hz=np.append(low_hz, high_hz[-1]),
        row_names=tuple(f"{hertz_words(float(each))} third octave" for each in midbands_hz),
        steps=True,
        quantities=(
            Scale(
                name="Level",
                label=f"{UNIT_NAMES[unit]} in each third octave",
                unit=UNIT_NAMES[unit],
                low=top_db - 100.0,
                high=top_db,
            ),
        ),
        facets=(
            *facets(conditions, levels, everything=False),
            Facet(name="Curves", choice="many", options=TONE_CURVES, chosen=tuple(range(len(TONE_CURVES)))),
        ),
        series=tuple(series),
    )


def _tone_series(bands: MultitoneBands, at: tuple[int, int], name: str, midbands_hz: FloatArray) -> list[Series]:
    """The curves of one multitone over all bands; one more value closes the last band."""
    parts = third_octaves(bands)
    row = np.searchsorted(midbands_hz, bands.frequency_hz)

    def laid(values: npt.ArrayLike) -> FloatArray:
        over = np.full(midbands_hz.size + 1, np.nan)
        over[row] = values
        return over

    level_db = bands.level_db
    curves: tuple[tuple[FloatArray, Part | None, str, tuple[float, ...], float], ...] = (
        (level_db, None, GREY, (), 1.4),
        (level_db + parts.distortion.values_db, parts.distortion, BLACK, (), 3.0),
        (level_db + parts.even.values_db, parts.even, ORDER_COLOURS[2], (), 1.8),
        (level_db + parts.odd.values_db, parts.odd, ORDER_COLOURS[3], ORDER_LINES[3], 1.8),
        (level_db + parts.noise_db, None, FILL, (), 1.0),
    )
    return [
        Series(
            at=(*at, which),
            name=f"{name}: {curve}",
            colour=colour,
            dashes=dashes,
            width=width,
            dots=at[0],
            ground=curve == "noise",
            values=(laid(values),),
            careful=None if part is None else laid(part.doubtful) == 1.0,
            below=None if part is None else laid(part.below) == 1.0,
        )
        for which, (curve, (values, part, colour, dashes, width)) in enumerate(zip(TONE_CURVES, curves, strict=True))
    ]
