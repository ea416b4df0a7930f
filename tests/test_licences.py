"""Every run-time dependency, all the way down, is known in DEVELOPERS.md and states a licence that asks for a notice
alone."""

import re
import tomllib
from email.message import Message
from pathlib import Path

import pytest
from packaging.version import Version

from tests.licences import runtime_licences, stated_licence

ALLOWED = re.compile(r"BSD|MIT|Apache|PSF|Python Software Foundation|HPND|Historical Permission|ISC|Zlib|CC0")
"""Of the Open Source Initiative's list, those that ask for a notice alone. A new kind is a decision: add it here."""

RECIPROCAL = re.compile(r"GPL|General Public|MPL|Mozilla|EPL|Eclipse|CDDL", re.IGNORECASE)


def known() -> set[str]:
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    return set(re.findall(r"(?m)^\| ([a-z][a-z0-9-]*) +\| [^|]+ \|$", text)) - {"needed"}


def test_every_dependency_is_known_and_none_comes_in_unseen() -> None:
    licences = runtime_licences()
    assert {"numpy", "scipy", "matplotlib", "rich", "soundfile", "sounddevice"} <= set(licences)
    assert set(licences) - known() == set(), "new: read its licence, then add it to the table in DEVELOPERS.md"


def test_every_dependency_states_a_licence_of_a_known_kind() -> None:
    licences = runtime_licences()
    assert [name for name, licence in licences.items() if not ALLOWED.search(licence)] == []
    assert [name for name, licence in licences.items() if RECIPROCAL.search(licence)] == []


def test_the_versions_to_try_by_hand_are_the_lowest_that_are_allowed() -> None:
    root = Path(__file__).parents[1]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    tried = dict(re.findall(r"([a-z][a-z0-9]*)==([\d.]+)", (root / "DEVELOPERS.md").read_text(encoding="utf-8")))
    for need in project["dependencies"]:
        name, lowest = need.split(">=")
        assert Version(tried[name]) == Version(lowest), need


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ([("License-Expression", "MIT"), ("Classifier", "License :: OSI Approved :: BSD License")], "MIT"),
        ([("Classifier", "Topic :: X"), ("Classifier", "License :: OSI Approved :: BSD License")], "BSD License"),
        ([("License", "Copyright\nall of it")], "Copyright"),
        ([("Classifier", "Topic :: X")], ""),
    ],
)
def test_the_licence_is_where_a_package_states_it(fields, said) -> None:
    about = Message()
    for key, value in fields:
        about[key] = value
    assert stated_licence(about) == said
