"""Which files stay out of what is published because they are not as they were written, and how to have them in."""

from collections.abc import Iterator, Sequence

COMPARED = "results/compare/"


def left_out_sentences(names: Sequence[str], folder: str) -> Iterator[str]:
    """A sentence for what each command would write anew; `names` are relative to the session `folder`."""
    compared = [name for name in names if name.startswith(COMPARED)]
    others = [name for name in names if not name.startswith(COMPARED)]
    for those, command in ((others, f"'distort report {folder}' writes"), (compared, "'distort compare' writes")):
        if those:
            yield f"Careful: {_counted(those)} stays out, because it is not as it was written: {command} it anew."


def _counted(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]}, as {len(names) - 1} more,"
