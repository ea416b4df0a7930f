"""A condition as its files tell it, read once: after this nobody looks into the session's folder to analyse it."""

from dataclasses import dataclass
from pathlib import Path

from distort.errors import PlanError, shown
from distort.session.calibration.reference_responses import (
    CurvesElsewhere,
    SessionMicrophone,
    read_curves_elsewhere,
    read_microphone,
)
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan
from distort.session.recordings.silence_off import SilenceOff, load_silences
from distort.session.recordings.stored import Recording, coded_link, load_recordings


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """All that the session holds of one condition; sound stays on disk until it is asked for."""

    condition: str
    root: Path
    """The session's folder, for messages."""
    plan: Plan
    """That of the condition."""
    recordings: tuple[Recording, ...]
    """All of them, rejected ones too."""
    link: str | None
    """Why a codec may be in those that nobody rejected; None: nothing says so."""
    chain: tuple[Recording, ...] | None
    """Recordings of the condition without a loudspeaker, which may not be there yet; None: this is that condition."""
    microphone: SessionMicrophone | None
    elsewhere: CurvesElsewhere
    silences_off: tuple[SilenceOff, ...] = ()
    """With the loudspeaker switched off, rejected ones too."""

    @property
    def kept(self) -> tuple[Recording, ...]:
        """The recordings that nobody rejected."""
        return tuple(one for one in self.recordings if one.sidecar.rejected is None)


def read_condition(folder: SessionFolder, plan: Plan, condition: str) -> Recorded:
    """Read what is known of `condition`.

    Raises SessionError for files that are missing or cannot be trusted, PlanError for a chain condition that the plan
    does not have.
    """
    chain = plan.analysis.chain_condition
    if chain is not None and chain not in plan.setup.conditions:
        raise PlanError(
            f"session.toml: [analysis] chain_condition is {shown(chain)}, which is none of [setup] conditions "
            f"({', '.join(plan.setup.conditions)}): add it there, and record it without a loudspeaker"
        )
    alone: tuple[Recording, ...] | None = ()
    if chain is not None:
        alone = None if chain == condition else load_recordings(folder, chain)
    recordings = load_recordings(folder, condition)
    return Recorded(
        condition=condition,
        root=folder.root,
        plan=plan.of(condition),
        recordings=recordings,
        link=coded_link([one for one in recordings if one.sidecar.rejected is None]),
        chain=alone,
        elsewhere=read_curves_elsewhere(folder, plan),
        microphone=read_microphone(folder, plan),
        silences_off=load_silences(folder, condition),
    )
