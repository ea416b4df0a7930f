"""What lines up, and what can be heard: sections of the report page that are there where something was found."""

from collections.abc import Sequence

from distort.report.page.hearing import ABOUT, hearing_part
from distort.report.page.lined_up import ABOUT_COINCIDENCES, coincidences_part
from distort.report.page.markup import Markup, element, markup
from distort.session.results.condition_results import ConditionResults

PARTS = (
    ("coincidences", "What lines up, and why", coincidences_part, ABOUT_COINCIDENCES),
    ("hearing", "What can be heard", hearing_part, ABOUT),
)


def further_sections(conditions: Sequence[ConditionResults]) -> list[tuple[str, str, Markup]]:
    """Anchor, heading and content of the sections there is something for."""
    sections = []
    for anchor, heading, make, about in PARTS:
        made = [(results.findings.condition, make(results)) for results in conditions]
        shown = [markup([element("h3", condition), content]) for condition, content in made if content]
        if shown:
            sections.append((anchor, heading, markup([element("p", about), *shown])))
    return sections
