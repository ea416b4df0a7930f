"""What a sidecar keeps of what was mended in it afterwards: another label, or a calibration that came later."""

from dataclasses import dataclass

from distort.session.files.names import RecordingName


@dataclass(frozen=True, kw_only=True)
class Relabelled:
    """What a recording was called before it was given its right name."""

    stimulus_name: str
    level_db_spl: float
    condition: str
    take: int
    after: bool
    stimulus_sha256: str
    """Of the stimulus file that was believed to have been played."""
    reason: str
    """The tester's, in a few words."""
    date: str
    """Of the mending: ISO 8601, UTC."""

    def __post_init__(self) -> None:
        self.name  # noqa: B018 - made to see whether it can be

    @property
    def name(self) -> RecordingName:
        """What its file was called."""
        return RecordingName(
            stimulus=self.stimulus_name, level_db_spl=self.level_db_spl, take=self.take, after=self.after
        )

    @property
    def before(self) -> str:
        """Condition and name as commands take them."""
        return f"{self.condition}/{self.name.stem}"


@dataclass(frozen=True, kw_only=True)
class AppliedAfterwards:
    """A recording was given a calibration that was read after it, because the tester states that no gain changed."""

    date: str
    """When it was stated: ISO 8601, UTC."""
    calibrated: str
    """When the calibrator was read, likewise."""
