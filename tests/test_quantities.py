"""A quantity is one thing: what files call it leads to it and back, whoever wrote them."""

import json
from pathlib import Path
from typing import Any

import pytest

from distort.analysis.common.quantities import (
    CHANGE,
    CHANGE_OF_MULTITONE,
    EVEN,
    HARMONICS,
    HIGHEST_ORDER,
    MULTITONE_DISTORTION,
    ODD,
    RESPONSE,
    RESPONSE_OF_MULTITONE,
    THD,
    Quantity,
    from_comparison,
    from_findings,
    harmonic,
)
from distort.report.text.quantities import heading, short

EVERY = (
    *(RESPONSE, RESPONSE_OF_MULTITONE, THD, EVEN, ODD, MULTITONE_DISTORTION, CHANGE, CHANGE_OF_MULTITONE),
    *HARMONICS,
)
EARLIER = Path(__file__).parent / "data/earlier_session/results"


def said_of(document: Any, key: str) -> set[str]:
    """Every text under `key`, however deep."""
    if isinstance(document, dict):
        own = {document[key]} if isinstance(document.get(key), str) else set()
        return own.union(*(said_of(value, key) for value in document.values()))
    if isinstance(document, list):
        return set().union(*(said_of(value, key) for value in document))
    return set()


def test_spellings_lead_there_and_back() -> None:
    for one in EVERY:
        assert from_findings(one.in_findings) == one
        assert from_comparison(one.in_comparison) == one
    for spelling in ("in_findings", "in_comparison"):
        assert len({getattr(one, spelling) for one in EVERY}) == len(EVERY)
    assert [one.in_findings for one in (EVEN, CHANGE, CHANGE_OF_MULTITONE)] == [
        *("multitone_even", "compression_sweep", "compression_multitone")
    ]
    assert [one.in_comparison for one in (EVEN, CHANGE, CHANGE_OF_MULTITONE)] == ["even", "change", "change-multitone"]


def test_every_name_in_files_of_an_earlier_version_is_known_and_written_again() -> None:
    """They keep their names: findings.json has coincidences and audibility, a comparison its quantities."""
    in_findings = set()
    for path in sorted(EARLIER.glob("*/findings.json")):
        found = json.loads(path.read_text(encoding="utf-8"))
        in_findings |= said_of(found["coincidences"], "quantity") | said_of(found["audibility"], "quantity")
    compared = json.loads((EARLIER / "compare/stand__desk.json").read_text(encoding="utf-8"))
    in_comparisons = said_of(compared["quantities"], "quantity")
    assert {"h2", "multitone"} <= in_findings
    assert {"response", "h2", "thd", "change"} <= in_comparisons
    assert {from_findings(text).in_findings for text in in_findings} == in_findings
    assert {from_comparison(text).in_comparison for text in in_comparisons} == in_comparisons


@pytest.mark.parametrize(
    "text", ["", "h", "h1", "h02", "h101", "H2", "h2 ", "change", "h\N{SUPERSCRIPT TWO}", "thd_db"]
)
def test_what_is_no_quantity_is_refused(text) -> None:
    with pytest.raises(ValueError, match=r"is no quantity: there are h2 to h100, response, .*compression_sweep"):
        from_findings(text)


def test_orders_from_the_second_on() -> None:
    assert [harmonic(n).order for n in (2, 3, HIGHEST_ORDER)] == [2, 3, HIGHEST_ORDER]
    for none in (1, HIGHEST_ORDER + 1):
        with pytest.raises(ValueError, match=f"order {none} is none of"):
            harmonic(none)


def test_columns_and_words() -> None:
    assert [one.column for one in (harmonic(2), harmonic(12), THD, EVEN)] == ["h2_db", "h12_db", "thd_db", "even_db"]
    assert [short(one) for one in (harmonic(2), harmonic(12), THD, ODD)] == ["H2", "H12", "THD", "MT odd"]
    assert [heading(one) for one in (harmonic(2), harmonic(6), EVEN)] == ["Second order", "Order 6", "Multitone, even"]
    assert (THD.unit, EVEN.unit, CHANGE.unit) == ("dB re the fundamental", "dB re the tones in the band", "dB")
    assert all(len(short(one)) <= 9 for one in EVERY)
    assert Quantity("change", "multitone") == CHANGE_OF_MULTITONE
