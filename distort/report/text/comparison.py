"""What `distort compare` says: what was unlike, what changed, what is excluded, and what became of the faults."""

from collections.abc import Callable, Iterator, Sequence

from rich.table import Table
from rich.text import Text

from distort.analysis.anomalies.anomaly import Anomaly
from distort.analysis.common.quantities import (
    CHANGE,
    CHANGE_OF_MULTITONE,
    EVEN,
    HARMONICS,
    ODD,
    RESPONSE,
    THD,
    Quantity,
    from_findings,
)
from distort.analysis.comparison.fault_changes import Fault, FaultChange
from distort.analysis.comparison.regions import Region, judged_range_hz, largest
from distort.analysis.comparison.significance import BROAD_OCTAVES, Difference
from distort.analysis.findings.finding import Finding
from distort.assembly.comparison.comparing import AtOutput, Compared
from distort.assembly.comparison.setup_differences import SetupDifference
from distort.report.text.numbers import NOT_MEASURABLE, hertz, hertz_words, level_name, with_interval
from distort.report.text.quantities import heading as words_of
from distort.report.text.quantities import short
from distort.report.text.simulated import SIMULATED_WORDS

PRINTED = (RESPONSE, THD, *HARMONICS[:4], EVEN, ODD, CHANGE, CHANGE_OF_MULTITONE)
"""Quantities that are printed, in this order; the CSV has the other orders too."""

MEANINGS = {
    "distance": "the room's share of the sound differs",
    "radiation": "the room's share of the sound differs",
    "time gate": "the room is cut off at another time",
    "orders separated": "THD sums other orders",
    "calibration": "its uncertainty is in the response if you say how much",
    "volume control": "equal drive is taken on trust, and compression is not compared",
}
"""What a difference does to the comparison, by what differs."""

MEANINGS_OF_PARAMETERS = {
    "sweep": "the sweep's speed biases the orders of each side differently",
    "multitone": "not compared",
}
"""The same of any parameter of a stimulus."""

MOST_LEVELS, MOST_REGIONS, MOST_FAULTS = 4, 3, 12
LABEL_COLUMNS, CELL_COLUMNS = 10, 17
"""10 + 4 x 17 = 78 of 80 columns."""


def comparison_blocks(compared: Compared) -> Iterator[str | Table]:
    """All of it, in the order in which it must be read."""
    yield heading(compared)
    if any(one.sidecar.simulated for one in (*compared.a.recordings, *compared.b.recordings)):
        yield f"{SIMULATED_WORDS}."
    yield ""
    yield from unlike_sentences(compared)
    yield ""
    yield changes_table(compared)
    yield ""
    yield from change_sentences(compared)
    yield ""
    yield from proved_sentences(compared)
    yield from _listed_faults(compared)


def heading(compared: Compared) -> str:
    """What is compared with what, and how."""
    basis = "equal drive" if compared.basis == "drive" else "equal output (power mean over band_hz)"
    return f"{compared.a.name} (A) and {compared.b.name} (B) at {basis}: every difference is B less A"


def change_sentences(compared: Compared) -> list[str]:
    """What changed, or is excluded, a sentence a quantity."""
    found = (quantity_sentence(compared, quantity) for quantity in PRINTED)
    return [one for one in found if one is not None]


def unlike_sentences(compared: Compared) -> list[str]:
    """What was unlike besides what was meant to differ, how the levels were put side by side, what intervals hold."""
    if compared.unlike:
        unlike = ["Unintended differences in set-up:", *(f"  {unlike_words(one)}" for one in compared.unlike)]
    else:
        distance = "distance, " if compared.near_field_hz is None else ""
        unlike = [f"Stimuli, gate, {distance}loudspeaker, microphone and calibration were alike."]
    return [*unlike, *pairing_sentences(compared), uncertainty_sentence(compared)]


def pairing_sentences(compared: Compared) -> list[str]:
    """Which levels were put side by side, and which could not be."""
    a, b, paired = compared.a, compared.b, compared.paired
    near = [] if compared.near_field_hz is None else [near_field_sentence(compared, compared.near_field_hz)]
    alone = [f"{level_name(level)} dB of {a.name}" for level in paired.alone_a_db_spl]
    alone += [f"{level_name(level)} dB of {b.name}" for level in paired.alone_b_db_spl]
    sentences = near + ([f"No partner of equal drive, not compared: {', '.join(alone)}."] if alone else [])
    sentences += [_output_sentence(compared, one) for one in paired.outputs]
    sentences += [] if near else _reference_sentences(compared)
    unknown = [f"{level_name(level)} dB of {side.name}" for side in (a, b) for level in side.without_floor_db_spl]
    if unknown:
        sentences.append(
            f"No noise floor is known of {', '.join(unknown)}: noise may make any difference there, so none is stated."
        )
    if paired.one_uncalibrated:
        sentences.append("One side has no calibration: the responses are not compared.")
    return sentences


def near_field_sentence(compared: Compared, up_to_hz: float) -> str:
    """Why so little is compared."""
    sides = [side for side in (compared.a, compared.b) if side.near_field]
    unknown = [side.condition for side in sides if side.plan.said(side.condition).radius_m is None]
    how = "where ka = 1" if not unknown else f"as if {' and '.join(unknown)} were as large as can be: say radius_m"
    return (
        f"{' and '.join(side.name for side in sides)}: near field. Only orders re the fundamental are compared, where "
        f"n f lies below {hertz_words(up_to_hz)} ({how}); levels say nothing there."
    )


def proved_sentences(compared: Compared) -> Iterator[str]:
    """What a changed or near side proves of each finding; nothing where it proves nothing."""
    if not compared.proved:
        return
    yield "What this proves of the findings:"
    for one in compared.proved:
        yield f"  {one.finding.headline}"
        yield f"    {one.verdict}"
    yield ""


def _reference_sentences(compared: Compared) -> Iterator[str]:
    """Against which level compression is stated, where that is not plain; unknown drives are named as unlike."""
    a, b, paired = compared.a, compared.b, compared.paired
    if not paired.references_db_spl and a.volume_known and b.volume_known:
        yield "The sides have no two levels in common: compression is not compared."
    if not paired.restated:
        return
    level, *of_multitones = map(level_name, paired.references_db_spl)
    against = f"{level} dB of {a.name}" + "".join(f" (multitones: {other} dB)" for other in of_multitones)
    if compared.basis == "drive":
        yield f"Compression of both sides is restated against {against}, the lowest level that both have."
    else:
        yield f"Compression of both sides is stated against {against}, the lowest output that both reach."


def _output_sentence(compared: Compared, one: AtOutput) -> str:
    name, outputs_db = compared.b.name, compared.b.outputs_db.values()
    match [level_name(level) for level in one.levels_b_db_spl]:
        case [level]:
            there = f"{name} gives that at {level} dB"
        case [below, above]:
            there = f"{name} is interpolated between {below} and {above} dB"
        case _:
            there = (
                f"{name} was measured from {min(outputs_db):.1f} to {max(outputs_db):.1f} dB SPL, and nothing is "
                f"extrapolated"
            )
    return f"{level_name(one.level_db_spl)} dB of {compared.a.name} gave {one.output_db:.1f} dB SPL: {there}."


def fault_sentences(compared: Compared) -> list[str]:
    """What became of every dip and peak, and of every finding."""
    dips = [f"{one.fate}: {anomaly_words(one)}" for one in compared.anomalies]
    return dips + [f"{one.fate}: {finding_words(one)}" for one in compared.findings]


def uncertainty_sentence(compared: Compared) -> str:
    """What the intervals hold, and what not."""
    a, b = compared.a, compared.b
    held = "noise"
    missing = ["setting microphone or loudspeaker up anew"]
    if max(a.set_ups, b.set_ups) > 1:
        held, missing = f"noise and the scatter of set-ups (A {a.set_ups}, B {b.set_ups})", []
    elif max(a.takes, b.takes) > 1:
        held = f"noise and the scatter of takes (A {a.takes}, B {b.takes}; Student's t)"
    else:
        missing.insert(0, "air, heat")
    if compared.calibration_db is not None:
        held += f", in the response also {compared.calibration_db:g} dB of calibration"
    words = f"Intervals (+-, 95 %) hold {held}"
    if not missing:
        return f"{words}."
    add = "measure --again --repositioned" if "air, heat" not in missing else "measure --again, --repositioned"
    return f"{words} alone: what {' and '.join(missing)} change is not in them ({add} shows it)."


def changes_table(compared: Compared) -> Table:
    """The largest change of each quantity at each level, or what is excluded."""
    levels = shown_levels(compared)
    table = Table(box=None, padding=0, pad_edge=False, show_edge=False, header_style="bold", caption_justify="left")
    table.add_column("B less A", width=LABEL_COLUMNS, no_wrap=True)
    for level in levels:
        table.add_column(f"{level_name(level)} dB", width=CELL_COLUMNS, justify="right", no_wrap=True)
    for quantity in PRINTED:
        cells = [_cell(compared, quantity, level) for level in levels]
        if any(cell.plain != NOT_MEASURABLE for cell in cells):
            table.add_row(Text(short(quantity), style="bold"), *cells)
    caption = [
        "Largest change in dB and where, statistically significant at 5 % (Holm).",
        "none > x: no change above x dB (95 %), in all bands that are read well.",
        "-: not readable on both sides.",
    ]
    every = {one.level_db_spl for one in compared.differences}
    if len(levels) < len(every):
        caption.append(f"{len(levels)} of {len(every)} levels; the CSV has all.")
    table.caption = Text("\n".join(caption), style="dim")
    return table


def shown_levels(compared: Compared) -> list[float]:
    """At most four levels, from the lowest to the highest."""
    levels = sorted({one.level_db_spl for one in compared.differences})
    if len(levels) <= MOST_LEVELS:
        return levels
    return [levels[round(index * (len(levels) - 1) / (MOST_LEVELS - 1))] for index in range(MOST_LEVELS)]


def quantity_sentence(compared: Compared, quantity: Quantity) -> str | None:
    """What one quantity did, at the highest level where it changed, else what is excluded at the highest level."""
    words = words_of(quantity)
    changed = [one for one in compared.regions if one.quantity == quantity]
    if changed:
        level = max(one.level_db_spl for one in changed)
        there = [one for one in changed if one.level_db_spl == level]
        shown = "; ".join(_region_words(one) for one in there[:MOST_REGIONS])
        more = f"; and {len(there) - MOST_REGIONS} more" if len(there) > MOST_REGIONS else ""
        return f"{words}, {level_name(level)} dB: changed by {shown}{more}."
    for difference in sorted(_of(compared, quantity), key=lambda one: -one.level_db_spl):
        if (row := largest(difference)) is not None:
            return f"{words}, {level_name(difference.level_db_spl)} dB: {unchanged_words(difference, row)}."
    return None


def unchanged_words(difference: Difference, row: int) -> str:
    """The largest difference, and which change is excluded over which range."""
    low_hz, high_hz = judged_range_hz(difference) or (0.0, 0.0)
    interval = with_interval(float(difference.difference_db[row]), float(difference.uncertainty_db[row]))
    sign = "+" if difference.difference_db[row] >= 0 else ""
    where = f"from {hertz_words(low_hz)} to {hertz_words(high_hz)}" if high_hz > low_hz else "there"
    return (
        f"no change; the largest difference is {sign}{interval} dB at "
        f"{hertz_words(float(difference.frequency_hz[row]))}; a change above {difference.excluded_db:.2g} dB is "
        f"excluded {where}, in the {int(difference.well_read.sum())} of {difference.frequency_hz.size} bands that are "
        f"read well"
    )


def _cell(compared: Compared, quantity: Quantity, level_db_spl: float) -> Text:
    changed = [one for one in compared.regions if (one.quantity, one.level_db_spl) == (quantity, level_db_spl)]
    if changed:
        size = changed[0].difference_db
        number = f"{size:+.1f}" if abs(size) >= 1.0 else f"{size:+.2f}"
        return Text(f"{number} at {hertz(changed[0].peak_hz)}", style="bold")
    for difference in _of(compared, quantity):
        if difference.level_db_spl == level_db_spl and difference.judged.any():
            return Text(f"none > {difference.excluded_db:.2g}", style="dim")
    return Text(NOT_MEASURABLE, style="dim")


def _of(compared: Compared, quantity: Quantity) -> list[Difference]:
    return [one for one in compared.differences if (one.quantity, one.octaves) == (quantity, BROAD_OCTAVES)]


def _region_words(region: Region) -> str:
    sign = "+" if region.difference_db >= 0 else ""
    interval = with_interval(region.difference_db, region.uncertainty_db)
    return (
        f"{sign}{interval} dB at {hertz_words(region.peak_hz)} "
        f"({hertz_words(region.low_hz)} to {hertz_words(region.high_hz)})"
    )


def unlike_words(one: SetupDifference) -> str:
    """One line: what, both values, and what it means."""
    values = " and ".join(f"{side} {value}" for side, value in (("A", one.a), ("B", one.b)) if value)
    meaning = meaning_words(one)
    return f"{one.what}: {values}{f' ({meaning})' if meaning else ''}"


def meaning_words(one: SetupDifference) -> str:
    """What a difference does to the comparison, as a clause; empty where that is plain."""
    if one.sound_faster_percent is not None:
        how = "faster" if one.sound_faster_percent > 0 else "slower"
        return f"sound is {abs(one.sound_faster_percent):.1f} % {how} in B: dips of reflections move by so much"
    return MEANINGS_OF_PARAMETERS[one.parameter_of] if one.parameter_of else MEANINGS.get(one.what, "")


def _listed_faults(compared: Compared) -> Iterator[str]:
    if compared.no_faults is not None:
        yield f"Dips, peaks and findings are not compared: {compared.no_faults}."
        return
    yield from _listed("Dips and peaks of the response", [(one.fate, anomaly_words(one)) for one in compared.anomalies])
    yield from _listed("Findings", [(one.fate, finding_words(one)) for one in compared.findings])


def _listed(title: str, changes: Sequence[tuple[str, str]]) -> Iterator[str]:
    """What became of each fault, and its words."""
    if not changes:
        yield f"{title}: none on either side."
        return
    yield f"{title}:"
    for fate, words in changes[:MOST_FAULTS]:
        yield f"  {fate + ':':10}{words}"
    if len(changes) > MOST_FAULTS:
        yield f"  and {len(changes) - MOST_FAULTS} more, in the .json file"


def anomaly_words(change: FaultChange[Anomaly]) -> str:
    """A dip or peak on both sides."""

    def words(one: Anomaly) -> str:
        return f"{hertz_words(one.frequency_hz)}, {one.deviation_db:+.1f} dB"

    known = change.a or change.b
    return f"{known.kind if known else ''} {_sides(change, words)}"


def finding_words(change: FaultChange[Finding]) -> str:
    """A finding on both sides, by the quantity of its leading row."""

    def words(one: Finding) -> str:
        row = one.leading_row
        rise = "" if row is None else f", {row.rise_db:+.1f} dB"
        return f"{hertz_words(one.frequency_hz)}{rise}, {one.explanation}"

    known = change.a or change.b
    row = None if known is None else known.leading_row
    if row is None:
        return _sides(change, words)
    return f"{words_of(from_findings(row.quantity))} at {level_name(row.level_db_spl)} dB SPL: {_sides(change, words)}"


def _sides(change: FaultChange[Fault], words: Callable[[Fault], str]) -> str:
    """Both sides; of one that does not list the fault, what its curves show at the place."""
    if change.unlisted_db is None:
        unlisted = "cannot be read there"
    else:
        unlisted = f"{change.unlisted_db:+.1f} dB there, not listed"
    return "; ".join(
        f"{letter} {words(one) if one is not None else unlisted}" for letter, one in (("A", change.a), ("B", change.b))
    )
