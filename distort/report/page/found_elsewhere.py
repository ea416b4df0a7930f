"""What further analyses put into the findings: coincidences and hearing. Shown where it is there, left out where not.

Coincidences are read from the findings as a document, so that a page can be made of findings with and without them.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from distort.report.page.hearing import ABOUT, hearing_part
from distort.report.page.markup import Markup, element, markup, table
from distort.report.terminal.numbers import hertz_words, level_name
from distort.session.files.json_fields import as_document
from distort.session.results.condition_results import ConditionResults

Entry = Mapping[str, Any]


def entries(results: ConditionResults, key: str) -> list[Entry]:
    """The list of objects under `key` in the findings of a condition; empty where there is none."""
    found = as_document(results.findings).get(key)
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []


def sentences_of(found: Sequence[Entry]) -> list[str]:
    """The sentence of each entry that has one, each once."""
    return list(dict.fromkeys(str(each["sentence"]) for each in found if each.get("sentence")))


def coincidence_table(results: ConditionResults) -> Markup:
    """The coincidences of a condition as a table; nothing where the findings hold none."""
    found = entries(results, "coincidences")
    if not found:
        return Markup("")
    rows = [
        [
            _hertz(each.get("frequency_hz")),
            _anomaly(each.get("anomaly")),
            _plain(each.get("quantity")),
            _level(each.get("level")),
            _plain(each.get("cause")),
            _evidence(each.get("evidence")),
            _probability(each.get("chance_probability")),
        ]
        for each in found
    ]
    headers = ("Frequency", "Dip or peak", "Quantity", "Level", "Cause", "Evidence", "Probability by chance")
    return table(headers, rows, caption=f"Coincidences, {results.findings.condition}")


def elsewhere_sections(conditions: Sequence[ConditionResults]) -> list[tuple[str, str, Markup]]:
    """Anchor, heading and content of the sections there is something for."""
    parts = (
        (
            "coincidences",
            "Coincidences",
            coincidence_table,
            "Where a rise of distortion or a change of compression stands near a dip or peak of the response, and what "
            "the figures say the cause is. The probability is that of so good a match by chance.",
        ),
        (
            "hearing",
            "What can be heard",
            hearing_part,
            ABOUT,
        ),
    )
    sections = []
    for anchor, heading, make, about in parts:
        made = [(results.findings.condition, make(results)) for results in conditions]
        shown = [markup([element("h3", condition), content]) for condition, content in made if content]
        if shown:
            sections.append((anchor, heading, markup([element("p", about), *shown])))
    return sections


def _hertz(value: Any) -> str:
    return hertz_words(float(value)) if isinstance(value, int | float) else _plain(value)


def _level(value: Any) -> str:
    return f"{level_name(float(value))} dB SPL" if isinstance(value, int | float) else _plain(value)


def _probability(value: Any) -> str:
    return f"{float(value):.2g}" if isinstance(value, int | float) else _plain(value)


def _anomaly(value: Any) -> str:
    if isinstance(value, dict):
        kind, depth = value.get("kind"), value.get("depth_db", value.get("height_db"))
        known = [str(kind)] if kind else []
        known += [_hertz(value["frequency_hz"])] if "frequency_hz" in value else []
        known += [f"{float(depth):.1f} dB"] if isinstance(depth, int | float) else []
        return ", ".join(known) or _evidence(value)
    return _plain(value)


def _evidence(value: Any) -> str:
    """The figures behind a cause: "weak fundamental 4.0 dB"; names as the findings have them, with their unit."""
    if not isinstance(value, dict):
        return _plain(value)
    parts = []
    for key, one in value.items():
        name, unit = (key.removesuffix("_db"), " dB") if key.endswith("_db") else (key, "")
        parts.append(f"{name.replace('_', ' ')} {_plain(one)}{unit if isinstance(one, int | float) else ''}")
    return ", ".join(parts)


def _plain(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.1f}" if isinstance(value, float) else str(value)
