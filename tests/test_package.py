"""What holds for the package as a whole: its file names, and its version."""

import tomllib
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_no_two_modules_have_the_same_name():
    """A name says which file is meant, wherever it stands."""
    names = Counter(path.name for path in (ROOT / "paperkey_alt").rglob("*.py"))
    del names["__init__.py"]
    assert [name for name, count in names.items() if count > 1] == []


def test_the_version_stands_in_one_place():
    """The package says it; what builds the wheel takes it from there."""
    given = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert "version" not in given["project"]
    assert given["project"]["dynamic"] == ["version"]
    assert given["tool"]["hatch"]["version"]["path"] == "paperkey_alt/__init__.py"
