"""Whether the sweeps predict the multitones, so that music may be synthesised from them: in sentences."""

from collections.abc import Iterator

from distort.analysis.synthesis.predicted import MOST_EVEN_DB, MOST_ODD_DB, LevelPredicted, PartMisfit, Prediction
from distort.report.text.numbers import decibels, hertz_words, level_name

WITHOUT = (
    "Whether the sweeps predict the multitones is not known: nobody said how far the volume was turned, or an earlier "
    "version analysed this."
)


def prediction_sentences(prediction: Prediction | None) -> Iterator[str]:
    """How far each level is missed, and whether music may be synthesised; the reason where it may not."""
    if prediction is None:
        yield WITHOUT
        return
    if prediction.judged:
        yield (
            f"Multitones predicted from the sweeps' harmonics, r.m.s. misfit over third octaves from 63 Hz to 10 kHz "
            f"(good up to {MOST_EVEN_DB:g} dB even, {MOST_ODD_DB:g} dB odd):"
        )
        yield from (_level_sentence(one) for one in prediction.levels)
    yield f"{_verdict(prediction)}{_unreached(prediction)}"


def _level_sentence(one: LevelPredicted) -> str:
    held = " (no sweep is loud enough: as of the loudest)" if one.held else ""
    return f"  {level_name(one.level_db_spl)} dB SPL: even {_part(one.even)}, odd {_part(one.odd)}{held}"


def _part(part: PartMisfit | None) -> str:
    return "too near its floor" if part is None else f"{decibels(part.misfit_db)} dB"


def _verdict(prediction: Prediction) -> str:
    match prediction.verdict:
        case "fits":
            assert prediction.up_to_db_spl is not None
            return (
                f"Music may be synthesised from the sweeps up to {level_name(prediction.up_to_db_spl)} dB SPL"
                f"{_form(prediction)}."
            )
        case "memory":
            assert prediction.grown is not None
            level, part = prediction.grown
            return (
                f"From {level_name(level.level_db_spl)} dB SPL on, the {part} distortion of many tones exceeds what "
                f"single tones tell: something with memory acts, such as a limiter or heat.{_still(prediction)}"
            )
        case "structure-unknown":
            return (
                "Music is not synthesised: fewer than two levels from the lowest up are predicted well enough, so how "
                "this loudspeaker combines tones is not known."
            )
        case "not-checked":
            return (
                "Music is not synthesised: the prediction was fitted at one level, and no other level can check it. "
                "Record multitones at more of the lower levels."
            )
        case _:
            return "Music is not synthesised: too little of the multitones' distortion stands clear of its floor."


def _still(prediction: Prediction) -> str:
    if prediction.up_to_db_spl is None:
        return " Music is not synthesised."
    return f" Music may be synthesised up to {level_name(prediction.up_to_db_spl)} dB SPL."


def _form(prediction: Prediction) -> str:
    """What was chosen, where."""
    form, level_db = prediction.form, prediction.chosen_at_db_spl
    if form is None or level_db is None:
        return ""
    ways = "one way" if form.crossover_hz is None else f"two ways, parted near {hertz_words(form.crossover_hz)}"
    return f" (as {ways}; fitted at {level_name(level_db)} dB SPL, checked at the other levels)"


def _unreached(prediction: Prediction) -> str:
    if not prediction.unreached_db_spl or prediction.needed_db_spl is None:
        return ""
    lowest = level_name(prediction.unreached_db_spl[0])
    return f" For {lowest} dB SPL sweeps up to {prediction.needed_db_spl:.0f} dB SPL would be needed."
