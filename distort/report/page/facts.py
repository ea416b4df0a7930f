"""Facts as the page states them: levels, compression in words, recording quality, set-up, calibration."""

from distort.report.page.sections import PageTable
from distort.report.text.afterwards import applied_sentence, mended_words
from distort.report.text.compression import closer_sentences, heating_sentences, lag_sentences, range_sentences
from distort.report.text.numbers import level_name, with_plus_minus
from distort.report.text.tables_sweep import UNIT_NAMES
from distort.session.plan.keys import NEAR_FIELD
from distort.session.results.condition_results import ConditionResults, Findings


def compression_words(results: ConditionResults) -> list[tuple[str, list[str]]]:
    """What the levels say about compression: each source, and its sentences."""
    findings = results.findings
    told: list[tuple[str, list[str]]] = []
    for found in findings.compression:
        if len(found.level_db_spl) < 2:
            continue
        said = [*range_sentences(found), *heating_sentences(found, findings.multitones), *lag_sentences(found)]
        said += closer_sentences(found)
        told.append((found.source, [with_plus_minus(each) for each in said]))
    return told


def levels_table(findings: Findings) -> PageTable:
    """Nominal level, drive, and what was measured."""
    return PageTable(
        headers=("Nominal level", "Drive", "Measured", "Fundamental valid from"),
        rows=[
            [
                f"{level_name(level.level_db_spl)} dB SPL",
                f"{level.drive_dbfs:.2f} dBFS",
                "-" if level.measured_db is None else f"{level.measured_db:.1f} {UNIT_NAMES[level.unit]}",
                f"{level.lowest_valid_hz:.3g} Hz",
            ]
            for level in findings.levels
        ],
        caption=f"Levels, {findings.condition}",
        look="numeric",
    )


def quality_table(findings: Findings) -> PageTable:
    """Every recording with the verdict of its check; those left out say why."""
    return PageTable(
        headers=("Recording", "Check", "What the check found", "SHA-256"),
        rows=[
            [
                one.file,
                one.quality.verdict if one.rejected is None else f"rejected: {one.rejected}",
                " ".join([*one.quality.findings, *mended_words(one.relabelled, one.applied_afterwards)]) or "nothing",
                f"{one.sha256[:12]}\N{HORIZONTAL ELLIPSIS}",
            ]
            for one in findings.recordings
        ],
        caption=f"Recordings, {findings.condition}",
    )


def setup_facts(findings: Findings) -> list[tuple[str, str]]:
    """The loudspeaker, the place and the microphone, as the plan stated them; what is not said is left out."""
    speaker, setup = findings.loudspeaker, findings.setup
    near = setup.radiation == NEAR_FIELD
    levels = "near field, whose levels say nothing of 1 m" if near else "levels referred to 1 m"
    facts = [
        ("Loudspeaker", speaker.name),
        ("Unit (serial number)", speaker.unit),
        ("Firmware", speaker.firmware),
        ("Input", speaker.input),
        ("Volume", speaker.volume),
        ("Preset", speaker.preset),
        ("Note", speaker.note),
        ("Conditions", ", ".join(setup.conditions)),
        ("Microphone", f"{setup.distance_m:g} m away; {levels}"),
        ("Radiation", setup.radiation),
        ("Air", f"{setup.temperature_c:g} \N{DEGREE SIGN}C"),
        ("Smoothing", "none" if findings.smoothing == "none" else f"{findings.smoothing} octave, in power"),
        ("Time gate", "none" if findings.gate_ms is None else f"{findings.gate_ms:g} ms"),
        ("Microphone response", _microphone(findings)),
        ("Calibration", calibration_words(findings)),
        ("Analysed by", findings.software),
    ]
    return [(name, value) for name, value in facts if value]


def _microphone(findings: Findings) -> str:
    used = findings.microphone
    if used is None:
        return "no file given: the microphone is taken as flat"
    return f"{used.response_is} from {used.file}, {used.low_hz:g} to {used.high_hz:g} Hz, SHA-256 {used.sha256[:12]}"


def calibration_words(findings: Findings) -> str:
    """Whether sound pressure levels are known."""
    if findings.levels and findings.levels[0].unit == "dbfs":
        return "none: levels are in dBFS, and no sound pressure level is known"
    if (applied := applied_sentence(findings)) is not None:
        return f"with a sound calibrator. {applied}"
    if findings.simulated:
        return "simulated, like everything here"
    return "with a sound calibrator; its record stands beside each recording"
