"""What strikes, rubs or blows as a sound in its finding: cut from the recording, without the sweep."""

from collections.abc import Mapping, Sequence

from distort.errors import RecordingError, SessionError
from distort.report.page.downloads import data_address
from distort.report.page.listening import Play
from distort.report.text.impulsive import ALONE_WORDS, alone_words
from distort.report.text.story import Told
from distort.session.audio.embedded import flac_bytes
from distort.session.files.folder import SessionFolder
from distort.session.results.condition_results import ConditionResults

MOST_SOUNDS = 3
"""In a page; each wants a recording to be read, which takes a second or two."""


def by_themselves(
    folder: SessionFolder, story: Sequence[Told], conditions: Sequence[ConditionResults]
) -> Mapping[int, Play | str]:
    """By the number of a finding: its sound, or why the page does not carry it."""
    able = [one for one in story if one.finding.decided and one.finding.explanation in ALONE_WORDS][:MOST_SOUNDS]
    of = {results.findings.condition: results for results in conditions}
    return {one.number: _by_itself(folder, one, of[one.conditions[0]]) for one in able}


def _by_itself(folder: SessionFolder, one: Told, results: ConditionResults) -> Play | str:
    """A recording in which something else sounds is not carried: it may be somebody's voice."""
    # here, because it brings all that reads recordings, and few pages have such a sound
    from distort.assembly.condition.residual_sound import residual_sound

    finding, condition = one.finding, results.findings.condition
    low_hz, high_hz = (finding.places[0].low_hz, finding.places[-1].high_hz)
    try:
        sound = residual_sound(folder, condition, finding.numbers["level_db_spl"], while_hz=(low_hz, high_hz))
    except (SessionError, RecordingError) as error:
        return f"Its sound is not in this page: {error}"
    if any(event.file == sound.file for event in results.findings.events):
        return "Its sound is not in this page: something else sounds in that recording, too."
    if sound.recording_sha256 not in {each.sha256 for each in results.findings.recordings}:
        return "Its sound is not in this page: the recording is another one than was analysed."
    address = data_address("audio/flac", flac_bytes(sound.samples, sound.sample_rate))
    return Play(name=alone_words(finding.explanation, sound, low_hz, high_hz), address=address)
