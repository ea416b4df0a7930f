"""Two takes of one level that cannot both be of it, as findings and errors tell them."""

from dataclasses import dataclass

from distort.session.files.names import RecordingName


@dataclass(frozen=True, kw_only=True)
class UnlikeTakes:
    """Takes of one level that lie farther apart than their noise and what any repeat of a measurement does."""

    condition: str
    stimulus_name: str
    level_db_spl: float
    takes: tuple[int, ...]
    """Numbers of the two that differ most, rising."""
    difference_db: float
    """Of their mean level in [levels] band_hz; above 0."""
    made_elsewhere: bool
    """They were brought in, so that one of them can be given another name."""

    @property
    def sentence(self) -> str:
        """Which takes, by how much, and what it may mean."""
        first, second = self.takes
        return (
            f"takes {first} and {second} of {self._name(1)} differ by {self.difference_db:.1f} dB: is one of them "
            f"another level?"
        )

    def to_mend(self, root: str) -> str:
        """What to do about it, in the session `root`."""
        last = f"{self.condition}/{self._name(self.takes[-1])}"
        away = f"`distort reject {root} {last} --reason TEXT` leaves it out"
        if not self.made_elsewhere:
            return f"Listen to both and leave one out: {away}, if it is that one."
        return (
            f"If take {self.takes[-1]} is: `distort relabel {root} {last} --level DB --reason TEXT` gives it its own "
            f"level; "
            f"{away}. Likewise for take {self.takes[0]}."
        )

    def _name(self, take: int) -> str:
        return RecordingName(stimulus=self.stimulus_name, level_db_spl=self.level_db_spl, take=take).stem
