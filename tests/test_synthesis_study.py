"""How far the synthesis from sweeps is a likeness of physical loudspeakers that are simulated directly."""

import pytest

from distort.analysis.synthesis.predicted import MOST_EVEN_DB, MOST_ODD_DB
from tests.devices.physical import MODELS
from tests.synthesis_study import misfits, music_misfit, simulated

EVEN_FAILS = {"closed box", "small full-range driver"}
"""Their even products are of several mechanisms at once, which no one share describes."""

WELL_BELOW_DBFS = -15.0
"""Up to here odd products are predicted of all of them; at -12 dBFS the vented box misses by 1 dB more."""


@pytest.mark.study
@pytest.mark.parametrize("name", MODELS)
def test_multitones_of_a_physical_loudspeaker(name) -> None:
    """Truth: the equations of `tests/devices/physical.py`, in time. The limits are those of the verdict."""
    heard = simulated(MODELS[name])
    found = misfits(heard)
    print(f"\n    {name}, music at -20 dBFS: even {music_misfit(heard, -20.0):.1f} dB", end="")
    for drive, (even_db, odd_db) in found.items():
        print(f"\n    {name}, {drive:g} dBFS: even {even_db:.1f} dB, odd {odd_db:.1f} dB", end="")
    assert all(odd_db <= MOST_ODD_DB for drive, (_, odd_db) in found.items() if drive < WELL_BELOW_DBFS)
    assert name in EVEN_FAILS or all(even_db <= MOST_EVEN_DB for even_db, _ in found.values())
