"""What the program needs at run time, all the way down, and the licence each states, from the installed metadata.

`python -m tests.licences` prints the table of DEVELOPERS.md.
"""

from collections.abc import Mapping
from email.message import Message
from importlib import metadata

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name


def stated_licence(about: Message) -> str:
    """By PEP 639's expression, else by the classifiers, else the first line of the old field; empty where none is."""
    expression = about.get("License-Expression")
    if expression:
        return str(expression)
    classifiers = [str(each) for each in about.get_all("Classifier", []) if str(each).startswith("License ::")]
    if classifiers:
        return ", ".join(each.rpartition(" :: ")[2] for each in classifiers)
    return next(iter(str(about.get("License") or "").strip().splitlines()), "")


def runtime_licences(root: str = "distort") -> Mapping[str, str]:
    """The licence of everything that `root` needs here without any extra, by name, `root` left out."""
    found: dict[str, str] = {}
    waiting = [root]
    while waiting:
        name = canonicalize_name(waiting.pop())
        if name in found:
            continue
        one = metadata.distribution(name)
        found[name] = stated_licence(one.metadata)
        needs = map(Requirement, one.requires or [])
        waiting += [need.name for need in needs if need.marker is None or need.marker.evaluate({"extra": ""})]
    del found[canonicalize_name(root)]
    return dict(sorted(found.items()))


def main() -> None:
    licences = runtime_licences()
    wide = max(map(len, licences))
    print(f"| {'needed':<{wide}} | licence |\n| {'-' * wide} | ------- |")
    for name, licence in licences.items():
        print(f"| {name:<{wide}} | {licence} |")


if __name__ == "__main__":
    main()
