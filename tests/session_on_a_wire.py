"""A session of 70 and 82 dB SPL with short stimuli, calibrated on a wire, for stimuli with a section of their own."""

from pathlib import Path

import numpy as np

from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.session.files.folder import SessionFolder
from tests.clumsy_session import RATE, CommandLine, shorten

FULL_SCALE_DB_SPL = 120.0
"""Of a wire: what a drive of 0 dBFS gives at 1 m."""


def session_on_a_wire(root: Path, distort: CommandLine, *, section: str) -> SessionFolder:
    """`section` is added to its plan."""
    made = SessionFolder(root)
    distort.done("new", made.root, "--levels", "70,82")
    shorten(made.root, rest_s="3.0", period_s="0.25", orders="4", seconds="1.6")
    with made.plan_path.open("a") as plan:
        plan.write(section)
    tone = 10.0 ** ((94.0 - FULL_SCALE_DB_SPL) / 20.0) * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(5 * RATE))
    calibrate_from_samples(made, tone, RATE, db_spl=94.0, device="scaled", replace=True)
    return made
