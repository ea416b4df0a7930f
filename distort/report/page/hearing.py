"""What can be heard, on the report page: the worst octave of each kind of distortion, by both models, with limits."""

from distort.report.page.markup import Markup, table
from distort.report.text.numbers import hertz_words, level_name
from distort.report.text.tables_audibility import BACKGROUND_WORDS, quantity_words, sentence
from distort.session.results.audibility_results import AudibilityFound, Background
from distort.session.results.condition_results import ConditionResults

ABOUT = (
    "An estimate: a steady tone that masks its own distortion, an average listener at 1 m; nothing below the threshold "
    "of hearing counts. Stated is by how many dB the distortion of the worst octave exceeds what is masked, by two "
    "published models. Terhardt's (1979) masks more the louder the tone is, upwards most; Schroeder's (with Atal and "
    "Hall, 1979) masks the same share at any level, and takes off 15.5 dB and one more a Bark. For high orders of loud "
    "tones they lie 60 dB and more apart. Where they do not agree it says perhaps, and a listening test decides."
)


def hearing_part(results: ConditionResults) -> Markup:
    """One row a level and kind of distortion; nothing where nothing was estimated."""
    background, found = _over_one_background(results)
    rows = []
    for one in found:
        top = one.worst
        if top is None:
            continue
        order = int(one.quantity[1:]) if one.quantity.startswith("h") else 1
        rows.append(
            [
                f"{level_name(one.level_db_spl)} dB SPL",
                quantity_words(one.quantity),
                hertz_words(top.frequency_hz),
                hertz_words(order * top.frequency_hz),
                f"{top.terhardt_db:+.0f} dB",
                f"{top.schroeder_db:+.0f} dB",
                top.verdict,
            ]
        )
    headers = ("Level (nominal)", "Distortion", "Of the tone at", "Heard at", "Terhardt", "Schroeder", "Audible?")
    caption = f"Audibility {BACKGROUND_WORDS[background]}, {results.findings.condition}"
    return table(headers, rows, caption=caption) if rows else Markup("")


def heard_sentences(results: ConditionResults) -> list[str]:
    """What both models call audible, a sentence each."""
    _, found = _over_one_background(results)
    return [
        f"Estimated at {level_name(one.level_db_spl)} dB SPL (nominal): {sentence(one)}"
        for one in found
        if one.worst is not None and one.worst.verdict == "audible"
    ]


def _over_one_background(results: ConditionResults) -> tuple[Background, list[AudibilityFound]]:
    """Over the room's noise where it is known, else over silence; from the lowest level up."""
    every = results.findings.audibility
    chosen: Background = "room" if any(one.background == "room" for one in every) else "silence"
    return chosen, sorted((one for one in every if one.background == chosen), key=lambda one: one.level_db_spl)
