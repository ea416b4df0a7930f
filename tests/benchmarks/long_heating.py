"""Analyses one long heating from its file, as a process of its own whose memory is measured."""

import sys
from pathlib import Path

from distort.analysis.heating.following import powers_of
from distort.analysis.heating.places import Place
from distort.analysis.heating.result import heating_level
from distort.session.audio.long_recording import open_long
from distort.session.audio.long_writing import writing
from signals import Multitone
from signals.heating import Heating

RATE = 16000
TONE = Multitone(high_hz=6000.0, low_hz=100.0, lines_per_decade=3, period_s=0.5, sample_rate=RATE, drive_dbfs=-12.0)


def heating_of(minutes: float) -> Heating:
    periods = round(60.0 * minutes / TONE.period_s)
    return Heating(tone=TONE, loud_periods=periods, asked_periods=periods, pilots_after_s=(0.0, 5.0))


def write(path: Path, minutes: float) -> int:
    """A wire's recording of it, a minute at a time, with a second of silence on either side; returns its samples."""
    heating = heating_of(minutes)
    end = heating.n_samples + RATE
    with writing(path, RATE) as file:
        for first in range(-RATE, end, 60 * RATE):
            file.write(heating.part(first, min(first + 60 * RATE, end)))
    return end + RATE


def main(path: str, minutes: str) -> int:
    heating = heating_of(float(minutes))
    with open_long(Path(path)) as file:
        level = heating_level(powers_of(file.part, heating, Place(start=float(RATE))), heating, level_db_spl=90.0)
    assert level.loud_s == 60.0 * float(minutes)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
