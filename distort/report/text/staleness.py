"""Why results may not be what an analysis would give now, and which set-up they keep, a clause each."""

from distort.report.text.alike import and_more
from distort.session.results.analysed import Staleness
from distort.session.results.kept_setup import KeptSetup


def stale_clauses(found: Staleness) -> list[str]:
    """Why the results may be old; nothing where they are what an analysis would give."""
    if found.never_whole:
        return ["no analysis of the whole session stands behind these results"]
    clauses = [f"{and_more(found.changed)} changed since these results were made"] if found.changed else []
    clauses += [f"{and_more(found.edited)} is not as it was written"] if found.edited else []
    return [
        *clauses,
        *(f"the recordings of {name} are gone, and its results are all that is left" for name in found.gone),
    ]


def kept_setup_clause(one: KeptSetup) -> str:
    """What session.toml says, and with what the recordings were made."""
    return (
        f"session.toml says {one.key} = {_spelled(one.now)}, but {' and '.join(one.conditions)} "
        f"{'was' if len(one.conditions) == 1 else 'were'} recorded with {_spelled(one.recorded)}, and the results keep "
        f"that"
    )


def _spelled(value: str | float) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
