"""Which recordings may be put together as takes of one level."""

from dataclasses import replace
from pathlib import Path

import pytest

from distort.errors import AnalysisError
from distort.recording.clocks import clock_of, recorded_at_s
from distort.recording.takes import require_alike, takes_of_each_level
from distort.session.files.folder import SessionFolder
from distort.session.recordings.stored import Recording
from tests.session_examples import SIDECAR


def recording(**changes) -> Recording:
    sidecar = replace(SIDECAR, **changes)
    files = SessionFolder(Path("session")).recording(sidecar.condition, sidecar.name)
    return Recording(files=files, sidecar=sidecar)


@pytest.mark.parametrize(
    "changes",
    [
        {"setup": replace(SIDECAR.setup, distance_m=2.0)},
        {"calibration": None},
        {"turned_db": 3.0},
    ],
)
def test_takes_made_differently_are_not_averaged(changes) -> None:
    first = recording(turned_db=0.0)
    with pytest.raises(AnalysisError, match="not takes of the same: reject one of them"):
        require_alike([first, recording(**{"take": 2, "turned_db": 0.0, **changes})])
    require_alike([first, recording(take=2, turned_db=0.0)])


def test_rejected_takes_and_repeats_are_no_takes() -> None:
    every = [
        recording(),
        recording(take=2, rejected="a lorry passed"),
        recording(after=True),
        recording(stimulus_name="sweep-short"),
        recording(level_db_spl=76.0),
    ]
    assert takes_of_each_level(every, "sweep") == {76.0: [every[4]], 86.0: [every[0]]}


def test_repeats_come_in_the_order_of_recording() -> None:
    late = recording(after=True, date="2024-05-01T13:00:00+00:00")
    early = recording(after=True, take=2, date="2024-05-01T12:40:00+00:00")
    spoilt = recording(after=True, take=3, rejected="a door")
    assert clock_of([late, spoilt, recording(), early]).repeats_of(recording()) == [early, late]
    assert recorded_at_s(late) - recorded_at_s(early) == 20 * 60
