"""Which files stay out of what is published because they are not as they were written, and how to have them in."""

from collections.abc import Iterator, Sequence

COMPARED = "results/compare/"


def left_out_sentences(names: Sequence[str], folder: str) -> Iterator[str]:
    """A sentence for what each command would write anew; `names` are relative to the session `folder`."""
    compared = [name for name in names if name.startswith(COMPARED)]
    others = [name for name in names if not name.startswith(COMPARED)]
    for those, command in ((others, f"distort report {folder}"), (compared, "distort compare")):
        if len(those) == 1:
            yield f"Careful: {those[0]} may not be as it was written, so it stays out: '{command}' writes it anew."
        elif those:
            which = f"{those[0]} and {len(those) - 1} more"
            yield f"Careful: {which} may not be as they were written, so they stay out: '{command}' writes them anew."
