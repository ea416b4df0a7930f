"""Faults injected into recordings of quick loudspeakers must be flagged and named; clean recordings must pass.

What counts as a fault is said in `tests/devices/fault_cases.py`; `tests/STUDIES.md` keeps what the study printed last.
"""

import pytest

from tests.devices.fault_cases import look_at
from tests.devices.faults import FAULTS
from tests.fault_study import confusion, looked_at, print_clean, print_confusion, tell_misses

SAMPLE = {
    "clipping": (1, 4),
    "dropped": (0, 5),
    "repeated": (3, 5),
    "hum": (3, 5),
    "gain": (1, 3),
    "stimulus": (3, 5),
    "cut_off": (2, 3),
    "channel": (1, 3),
}
"""Of the study's 125 of a kind, the two of the first six that are computed soonest. Seeded, they come out as there."""


@pytest.mark.first(4)
@pytest.mark.parametrize("which", [0, pytest.param(1, marks=pytest.mark.sample)])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_of_each_kind_is_named(fault: str, which: int) -> None:
    assert look_at(fault, SAMPLE[fault][which]).named == fault


@pytest.mark.parametrize("number", [0, *(pytest.param(each, marks=pytest.mark.sample) for each in (1, 2, 3))])
def test_a_clean_recording_is_not_refused(number: int) -> None:
    """The first of the study's 500."""
    assert look_at("clean", number).named != "refuse"


@pytest.mark.study
def test_a_thousand_faults_are_flagged_and_named() -> None:
    cases = looked_at([(fault, number) for number in range(125) for fault in FAULTS])
    tell_misses(cases)
    print_confusion(cases)
    table = confusion(cases)
    assert sum(names["nothing"] for names in table.values()) <= 0.01 * len(cases)
    assert sum(names[fault] for fault, names in table.items()) >= 0.95 * len(cases)
    assert all(names[fault] >= 0.9 * sum(names.values()) for fault, names in table.items())


@pytest.mark.study
def test_of_500_clean_recordings_hardly_one_is_refused() -> None:
    cases = looked_at([("clean", number) for number in range(500)])
    tell_misses(cases)
    print_clean(cases)
    assert sum(case.named == "refuse" for case in cases) <= 5
