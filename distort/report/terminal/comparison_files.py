"""A comparison as files: compare/<a>__<b>.csv, .json and the figure."""

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from distort.analysis.common.grid import grid_hz
from distort.analysis.common.log_frequency import over_log_frequency
from distort.analysis.comparison.regions import judged_range_hz, largest
from distort.analysis.comparison.significance import BROAD_OCTAVES, NARROW_OCTAVES, Difference
from distort.assembly.comparison.comparing import Compared
from distort.assembly.comparison.side import Side
from distort.report.text.comparison import (
    change_sentences,
    fault_sentences,
    heading,
    meaning_words,
    pairing_sentences,
    uncertainty_sentence,
    unlike_sentences,
)
from distort.session.files.atomic import make_folder, write_text
from distort.session.files.csv_table import write_table
from distort.session.files.json_fields import FORMAT
from distort.session.files.names import format_level
from distort.session.results.comparison_files import with_files

FloatArray = npt.NDArray[np.float64]


def write_comparison(compared: Compared) -> tuple[Path, ...]:
    """Write table, figures and findings below results/compare of A and return their paths. Raises SessionError.

    The findings come last: they name the other files by their hashes, and so belong to these and to no earlier ones.
    """
    from distort.report.figures.comparison import comparison_figure, drawn_quantities
    from distort.report.figures.saving import save_figure

    stem = comparison_stem(compared)
    make_folder(stem.parent)
    table, findings = stem.with_name(f"{stem.name}.csv"), stem.with_name(f"{stem.name}.json")
    write_table(table, comparison_columns(compared))
    written = [table]
    for quantity, level in drawn_quantities(compared):
        name = f"{stem.name}_{quantity.in_comparison}_{format_level(level)}dB"
        written += save_figure(comparison_figure(compared, quantity, level), stem.with_name(name))
    write_text(findings, _text(with_files(_document(compared), written)) + "\n")
    return (table, findings, *(path for path in written if path.suffix == ".png"))


def comparison_stem(compared: Compared) -> Path:
    """Path of the files without ending: conditions alone within a session, else with the folders' names."""
    a, b = compared.a, compared.b
    names = [re.sub(r"[^A-Za-z0-9_-]+", "-", side.name).strip("-") or side.condition for side in (a, b)]
    return a.folder.inside("results", "compare", f"{names[0]}__{names[1]}")


def comparison_columns(compared: Compared) -> dict[str, npt.ArrayLike]:
    """Columns on the frequency grid. Of each quantity and level, `<quantity>_<L>db`:

    the difference in dB in twelfths of an octave (multitones: per band or line), `_uncertainty`, `_together` (wide
    enough for all rows at once), `_changed` (1: significant), and of sweeps `_third` and `_third_uncertainty`, the same
    in third octaves. Empty where one of the sides cannot be read.
    """
    columns: dict[str, npt.ArrayLike] = {"frequency_hz": grid_hz()}
    by_key = {(one.quantity, one.level_db_spl, one.octaves): one for one in compared.differences}
    for (quantity, level, octaves), one in by_key.items():
        narrow = by_key.get((quantity, level, NARROW_OCTAVES))
        if octaves != BROAD_OCTAVES:
            continue
        name = f"{quantity.in_comparison.replace('-', '_')}_{format_level(level)}db"
        fine = narrow or one
        columns[name] = _on_grid(fine, fine.difference_db)
        columns[f"{name}_uncertainty"] = _on_grid(fine, fine.uncertainty_db)
        columns[f"{name}_together"] = _on_grid(fine, fine.together_db)
        columns[f"{name}_changed"] = _on_grid(fine, np.where(fine.judged, fine.significant.astype(np.float64), np.nan))
        if narrow is not None:
            columns[f"{name}_third"] = _on_grid(one, one.difference_db)
            columns[f"{name}_third_uncertainty"] = _on_grid(one, one.uncertainty_db)
    return columns


def comparison_text(compared: Compared) -> str:
    """The comparison for machines, as JSON."""
    return _text(_document(compared))


def _text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)


def _document(compared: Compared) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "words": {
            "heading": heading(compared),
            "alike": unlike_sentences(compared),
            "changes": change_sentences(compared),
            "faults": fault_sentences(compared),
        },
        "near_field_hz": compared.near_field_hz,
        "proved": [{"finding": one.finding.headline, "verdict": one.verdict} for one in compared.proved],
        "a": _side(compared.a),
        "b": _side(compared.b),
        "basis": compared.basis,
        "unlike": [
            {"what": one.what, "a": one.a, "b": one.b, "meaning": meaning_words(one)} for one in compared.unlike
        ],
        "levels": pairing_sentences(compared),
        "uncertainty": uncertainty_sentence(compared),
        "calibration_uncertainty_db": compared.calibration_db,
        "quantities": [_quantity(compared, one) for one in compared.differences],
        "anomalies": [dataclasses.asdict(one) for one in compared.anomalies],
        "findings": [dataclasses.asdict(one) for one in compared.findings],
        "no_faults": compared.no_faults,
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "name": side.name,
        "condition": side.condition,
        "loudspeaker": dataclasses.asdict(side.sweeps[0].sidecar.loudspeaker),
        "simulated": any(one.sidecar.simulated for one in side.recordings),
        "drives_dbfs": {format_level(level): drive for level, drive in side.drives_dbfs.items()},
        "outputs_db": {format_level(level): output for level, output in side.outputs_db.items()},
        "set_ups": side.set_ups,
        "takes": side.takes,
        "recordings": [
            {"file": one.files.audio_path.name, "sha256": one.sidecar.recording_sha256} for one in side.recordings
        ],
    }


def _quantity(compared: Compared, one: Difference) -> dict[str, Any]:
    row, span_hz = largest(one), judged_range_hz(one)
    found: dict[str, Any] = {
        "quantity": one.quantity.in_comparison,
        "level": one.level_db_spl,
        "band": "1/3" if one.octaves == BROAD_OCTAVES else "1/12",
        "judged": int(one.judged.sum()),
        "well_read": int(one.well_read.sum()),
        "from_hz": None if span_hz is None else span_hz[0],
        "to_hz": None if span_hz is None else span_hz[1],
        "changed": bool(one.significant.any()),
        "excluded_above_db": None if row is None else one.excluded_db,
        "least_named_db": float(np.max(one.least_named_db[one.judged])) if row is not None else None,
        "largest": None,
    }
    if row is not None:
        found["largest"] = {
            "frequency_hz": float(one.frequency_hz[row]),
            "difference_db": float(one.difference_db[row]),
            "uncertainty_db": float(one.uncertainty_db[row]),
        }
    if one.octaves == BROAD_OCTAVES:
        found["regions"] = [
            {key: value for key, value in dataclasses.asdict(region).items() if key not in ("quantity", "level_db_spl")}
            for region in compared.regions
            if (region.quantity, region.level_db_spl) == (one.quantity, one.level_db_spl)
        ]
    return found


def _on_grid(one: Difference, values: FloatArray) -> FloatArray:
    """Values on the rows of the grid that are nearest to theirs; NaN elsewhere."""
    grid = grid_hz()
    result = np.full(grid.size, np.nan)
    rows = np.rint(over_log_frequency(one.frequency_hz, grid, np.arange(float(grid.size)))).astype(np.int64)
    near = np.abs(np.log(one.frequency_hz / grid[rows])) < np.log(grid[1] / grid[0])
    result[rows[near]] = values[near]
    return result
