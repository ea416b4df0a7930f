"""All families by name, and the seeds of the two halves of a trial."""

from tests.families import changes, paths, rooms, sources
from tests.families.drawing import Family

FAMILIES: dict[str, Family] = {
    "reflection": paths.reflection,
    "response-peak": paths.response_peak,
    "local-source": sources.local_source,
    "own-compression": changes.own_compression,
    "two-paths": paths.two_paths,
    "lobing": paths.lobing,
    "dip-before-the-curve": paths.dip_before_the_curve,
    "saturating-absorber": changes.saturating_absorber,
    "two-causes": sources.two_causes,
    "dips-at-f-and-2f": paths.dips_at_f_and_2f,
    "source-above-a-level": sources.source_above_a_level,
    "narrow": paths.narrow,
    "narrow-source": sources.narrow_source,
    "bands-edge": paths.bands_edge,
    "conversion-images": rooms.conversion_images,
    "bass-driven-limiter": changes.bass_driven_limiter,
    "expansion-at-a-peak": changes.expansion_at_a_peak,
    "expansion-at-a-dip": changes.expansion_at_a_dip,
    "events": rooms.events,
    "room": rooms.room,
    "nothing": rooms.nothing,
}

FIRST_SEED = {"tune": 0, "fresh": 500_000}
"""Rules may be tuned on seeds from 0 on, and are reported on those from 500,000 on, which nobody looks at before."""

MOST_CASES = 500_000
"""Of a family in one split, so that they never overlap."""


def seeds(split: str, count: int, *, skip: int = 0) -> range:
    """The seeds of `count` cases after the first `skip`. Raises KeyError for another split, ValueError for too many."""
    if count < 1 or skip < 0 or skip + count > MOST_CASES:
        raise ValueError(f"a split has 1 to {MOST_CASES} cases, not {skip + count}")
    first = FIRST_SEED[split] + skip
    return range(first, first + count)
