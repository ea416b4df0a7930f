"""The sections of facts: levels and compression in words, recording quality, set-up, calibration, method, sources."""

from collections.abc import Sequence

from distort.report.page.markup import Markup, bullets, element, markup, paragraphs, table
from distort.report.text.compression import closer_sentences, heating_sentences, lag_sentences, range_sentences
from distort.report.text.numbers import level_name
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.results.condition_results import ConditionResults, Findings

SOURCES = (
    "Sweep and separation of orders: A. Farina, AES 108th Convention, 2000; A. Novak, P. Lotton, L. Simon, "
    "J. Audio Eng. Soc. 63(10), 2015.",
    "Multitone: R. Pintelon, J. Schoukens, System Identification: A Frequency Domain Approach, 2nd ed., 2012.",
    "Digital levels: AES17. Frequencies of bands: IEC 61260-1. Proportions of the figures: IEC 60263 (from memory).",
    "Total harmonic distortion re the fundamental and re the total: IEC 60268-5 and IEC 60268-21 (from memory).",
    "Colours of the orders: M. Okabe, K. Ito, Color Universal Design, 2008; of the levels: viridis of matplotlib.",
)

METHOD = (
    "The nominal level names a rung of the ladder: the sound pressure level at 1 m that its drive would give if the "
    "loudspeaker stayed as it is when played quietly. Levels in the results are those that were measured.",
    "Each harmonic order is plotted at the frequency that was played. Powers are smoothed, then divided. The noise "
    "floor of each order is predicted from the silence in the recording, and its power is taken off the readings.",
    "A reading marked ? is to be read with care: it lies less than 10 dB above its noise floor, or less than 25 dB "
    "above what the next order's reverberation leaks into it, or where the sweep passes a resonance faster than it can "
    "follow, or below what the sweep's start or the time gate allows. A reading marked < lies below its floor.",
    "Compression is the change of the response against the lowest level, less the change of the drive. A sweep and a "
    "multitone of equal drive are two operating points; their curves are never mixed.",
    "Referring levels to 1 m (20 log10 of the distance) holds in the far field: not under 0.5 m, and not at low "
    "frequencies in a room.",
)


def compression_words(results: ConditionResults) -> Markup:
    """What the ladder of levels says, source by source."""
    findings = results.findings
    parts = []
    for found in findings.compression:
        if len(found.level_db_spl) < 2:
            continue
        said = [*range_sentences(found), *heating_sentences(found, findings.multitones), *lag_sentences(found)]
        said += closer_sentences(found)
        parts.append(element("h4", f"From the {found.source}"))
        parts.append(bullets([each.replace(" +- ", " \N{PLUS-MINUS SIGN} ") for each in said]))
    if findings.no_compression is not None:
        parts.append(element("p", findings.no_compression))
    return markup(parts)


def levels_table(findings: Findings) -> Markup:
    """Nominal level, drive, and what was measured."""
    rows = [
        [
            f"{level_name(level.level_db_spl)} dB SPL",
            f"{level.drive_dbfs:.2f} dBFS",
            "-" if level.measured_db is None else f"{level.measured_db:.1f} {UNIT_NAMES[level.unit]}",
            f"{level.lowest_valid_hz:.3g} Hz",
        ]
        for level in findings.levels
    ]
    headers = ("Nominal level", "Drive", "Measured", "Fundamental valid from")
    return table(headers, rows, caption=f"Levels, {findings.condition}", look="numeric")


def quality_table(findings: Findings) -> Markup:
    """Every recording with the verdict of its check; those left out say why."""
    rows = [
        [
            one.file,
            one.quality.verdict if one.rejected is None else f"rejected: {one.rejected}",
            " ".join(one.quality.findings) or "nothing",
            f"{one.sha256[:12]}\N{HORIZONTAL ELLIPSIS}",
        ]
        for one in findings.recordings
    ]
    headers = ("Recording", "Check", "What the check found", "SHA-256")
    return table(headers, rows, caption=f"Recordings, {findings.condition}")


def setup_list(findings: Findings) -> Markup:
    """The loudspeaker, the place and the microphone, as the plan stated them."""
    speaker, setup, used = findings.loudspeaker, findings.setup, findings.microphone
    facts = [
        ("Loudspeaker", speaker.name),
        ("Specimen", speaker.unit),
        ("Firmware", speaker.firmware),
        ("Input", speaker.input),
        ("Volume", speaker.volume),
        ("Preset", speaker.preset),
        ("Note", speaker.note),
        ("Conditions", ", ".join(setup.conditions)),
        ("Microphone", f"{setup.distance_m:g} m away; levels referred to 1 m"),
        ("Radiation", setup.radiation),
        ("Air", f"{setup.temperature_c:g} \N{DEGREE SIGN}C"),
        ("Smoothing", "none" if findings.smoothing == "none" else f"{findings.smoothing} octave, in power"),
        ("Time gate", "none" if findings.gate_ms is None else f"{findings.gate_ms:g} ms"),
        ("Microphone response", _microphone(findings) if used else "no file given: the microphone is taken as flat"),
        ("Calibration", calibration_words(findings)),
        ("Analysed by", findings.software),
    ]
    items = (markup([element("dt", name), element("dd", value)]) for name, value in facts if value)
    return element("dl", items)


def _microphone(findings: Findings) -> str:
    used = findings.microphone
    assert used is not None
    return f"{used.response_is} from {used.file}, {used.low_hz:g} to {used.high_hz:g} Hz, SHA-256 {used.sha256[:12]}"


def calibration_words(findings: Findings) -> str:
    """Whether sound pressure levels are known."""
    if findings.levels and findings.levels[0].unit == "dbfs":
        return "none: levels are in dBFS, and no sound pressure level is known"
    if findings.simulated:
        return "simulated, like everything here"
    return "with a sound calibrator; its record stands beside each recording"


def method_part() -> Markup:
    """How the numbers came about, and where the methods are published."""
    return markup([paragraphs(METHOD), element("h3", "Sources"), bullets(SOURCES)])


def by_condition(conditions: Sequence[ConditionResults], make: "list[Markup]") -> Markup:
    """One part a condition under its name."""
    pairs = zip(conditions, make, strict=True)
    return markup(markup([element("h3", results.findings.condition), part]) for results, part in pairs)
