"""What can be heard: margins over the masked threshold per octave, 80 columns wide, and sentences with their limits."""

from collections.abc import Iterator, Sequence

from rich.table import Table
from rich.text import Text

from distort.analysis.common.quantities import HARMONICS, MULTITONE_DISTORTION
from distort.analysis.hearing.audibility import OctaveMargin
from distort.report.text.headings import heading_sentences
from distort.report.text.numbers import NOT_MEASURABLE, OCTAVE_HZ, hertz_words, level_name, octave_index
from distort.report.text.quantities import heading, short
from distort.report.text.tables_sweep import octave_table
from distort.session.plan.keys import NEAR_FIELD
from distort.session.results.audibility_results import AudibilityFound, Background
from distort.session.results.condition_results import ConditionResults

SHOWN = (*HARMONICS[:4], MULTITONE_DISTORTION)
BOLD_ABOVE_DB = 0.0

LIMITS = (
    "An estimate, {background}: an average listener at 1 m hears a steady tone, at the level that is stated, and the "
    "distortion that it does not mask. A multitone masks as noise does. Nothing below the threshold of hearing counts. "
    "Played more quietly, less is heard. Music that reads the same has some 15 dB less in each third octave, and masks "
    "more than a tone. The first line of each is by the ear's filters (Glasberg and Moore 1990), which widen with "
    "level; the second by the spreading of Schroeder, Atal and Hall 1979, the same at any level, which masks too "
    "little of the high orders of loud tones. Where the two do not agree, a listening test decides.",
    "Rules of thumb (common practice, no source): a dip troubles listeners less than a peak of the same size, a "
    "narrow one less than a broad one; high orders are heard more easily than low ones.",
)
BACKGROUND_WORDS = {
    "room": "over the noise in the pauses of the recording",
    "silence": "as if the room were silent",
}


def audibility_blocks(results: ConditionResults, *, background: Background | None = None) -> Iterator[str | Table]:
    """Margins of every level over `background` (None: silence), what they mean, and how often the models agree."""
    yield from heading_sentences(results)
    chosen, found = over_one_background(results, background)
    if not found:
        yield why_none(results, chosen)
        yield ""
        return
    for level in results.levels_db_spl:
        here = {one.quantity: one for one in found if one.level_db_spl == level}
        shown = [here[each] for each in SHOWN if each in here and here[each].octaves]
        if not shown:
            yield f"{level_name(level)} dB SPL nominal: no order stands clear of its noise."
            yield ""
            continue
        yield f"{level_name(level)} dB SPL nominal: dB over the masked threshold, the worst of each octave"
        yield margins_table(shown)
        yield from (sentence(one) for one in shown if one.worst is not None and one.worst.verdict != "not audible")
        yield ""
    yield agreement_sentence(found)
    yield from (text.format(background=BACKGROUND_WORDS[chosen]) for text in LIMITS)
    yield ""


def why_none(results: ConditionResults, background: Background) -> str:
    """Why there are no margins over a background."""
    if any(level.unit == "dbfs" for level in results.findings.levels):
        return "No audibility: without a calibration no sound pressure level is known."
    if results.findings.setup.radiation == NEAR_FIELD:
        return "No audibility: nobody listens in the near field."
    if results.findings.audibility and background == "room":
        return "No silence was recorded, so the room's noise is not known: leave --background out."
    return "No audibility: run 'distort analyze' again."


def agreement_sentence(found: Sequence[AudibilityFound]) -> str:
    """In how many octaves both models say the same."""
    octaves = [octave for one in found for octave in one.octaves]
    agreed = sum(octave.verdict in ("audible", "not audible") for octave in octaves)
    return f"The two models agree in {agreed} of {len(octaves)} octaves, all orders and levels."


def margins_table(found: Sequence[AudibilityFound]) -> Table:
    """Two rows a quantity, one a model; margins above 0 are bold."""
    table = octave_table("Hz", worst=False)
    for one in found:
        by_octave = {octave_index(octave.midband_hz): octave for octave in one.octaves}
        octaves = [by_octave.get(index) for index in range(len(OCTAVE_HZ))]
        table.add_row(
            Text(short(one.quantity), style="bold"),
            *(_cell(None if octave is None else octave.excitation_db) for octave in octaves),
        )
        table.add_row(Text(""), *(_cell(None if octave is None else octave.schroeder_db) for octave in octaves))
    return table


def sentence(found: AudibilityFound) -> str:
    """Where it is most likely heard, and how sure that is."""
    top = found.worst
    if top is None:
        return f"{heading(found.quantity)}: unknown."
    sure = "audible" if top.verdict == "audible" else "perhaps audible"
    return f"{heading(found.quantity)}: {_where(found, top)} {_both(top)}: {sure}."


def heard_sentences(results: ConditionResults) -> list[str]:
    """What both models call audible, a sentence each, from the lowest level up."""
    return [
        f"Estimated at {level_name(one.level_db_spl)} dB SPL (nominal): {sentence(one)}"
        for one in over_one_background(results)[1]
        if one.worst is not None and one.worst.verdict == "audible"
    ]


def over_one_background(
    results: ConditionResults, wanted: Background | None = None
) -> tuple[Background, list[AudibilityFound]]:
    """What was found over the background `wanted` (None: silence), from the lowest level up, and which that is.

    Noise of the pauses is asked for: how much of it is the microphone's own nobody knows, and that masks nothing.
    """
    every = results.findings.audibility
    chosen: Background = wanted or "silence"
    return chosen, sorted((one for one in every if one.background == chosen), key=lambda one: one.level_db_spl)


def _where(found: AudibilityFound, top: OctaveMargin) -> str:
    order = found.quantity.order or 1
    heard = f", heard at {hertz_words(order * top.frequency_hz)}," if order > 1 else ""
    return f"at {hertz_words(top.frequency_hz)}{heard}"


def _both(top: OctaveMargin) -> str:
    return f"{top.excitation_db:+.0f} dB by filters, {top.schroeder_db:+.0f} dB by spreading"


def _cell(margin_db: float | None) -> Text:
    if margin_db is None:
        return Text(NOT_MEASURABLE, style="dim")
    return Text(f"{margin_db:+.0f}", style="bold" if margin_db > BOLD_ABOVE_DB else "")
