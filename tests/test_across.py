"""What is said across conditions is true of made loudspeakers: a seeded sample, and the study that prints the table."""

from collections import Counter
from dataclasses import replace

import pytest

from tests.across.__main__ import lines, try_case
from tests.across.catalogue import FAMILIES
from tests.across.judged import analysed, judged


@pytest.mark.sample
def test_a_sample_of_what_is_said_across_conditions_is_true(tmp_path) -> None:
    """A rattle that louder room noise hides in one condition: the page called it made by what was changed in the
    other. At two levels of the three, which takes less time."""
    made = FAMILIES["rattle-in-noise"](3)
    quick = replace(made, case=replace(made.case, levels=made.case.levels[1:]))
    found = judged(quick, *analysed(quick, tmp_path))
    assert (found.verdict, found.wrong) == ("right", ())
    assert any("may be hidden in desk" in said for said in found.said)


@pytest.mark.study
def test_of_what_is_said_across_conditions_five_in_a_hundred_are_wrong_at_most() -> None:
    """Seeds on which no rule was tuned; the table stands in `tests/STUDIES.md`."""
    answers = [try_case((family, seed)) for family in FAMILIES for seed in range(26, 38, 2)]
    print("\n" + "\n".join(lines(answers, listed="wrong")))
    assert Counter(one["verdict"] for one in answers)["wrong"] <= 0.05 * len(answers)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_draws_what_its_seed_says_and_nothing_else(family) -> None:
    one, again, other = FAMILIES[family](11), FAMILIES[family](11), FAMILIES[family](12)
    assert (one.faults, one.note) == (again.faults, again.note)
    assert one.case.noise_db_spl != other.case.noise_db_spl
    assert one.family == family
    for fault in one.faults:
        assert set(fault.conditions) <= set(one.case.devices)
