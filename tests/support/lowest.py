"""
Runs a selection of the tests with the lowest versions that pyproject.toml allows, so that its lower
bounds say what was run: ``python tests/support/lowest.py``. Made and run in .venv/lowest.
"""

import re
import subprocess
import sys
import tomllib
import venv
from itertools import chain
from pathlib import Path

ROOT = Path(__file__).parents[2]
VENV = ROOT / ".venv/lowest"
# What goes through every dependency once: paper, text and pictures, seals, keys, both ways to type.
SELECTION = (
    "tests/cli/test_main_job.py",
    "tests/cli/test_pictures.py::test_symbols_and_rows_together_give_the_key",
    "tests/cli/test_type_command.py",
    "tests/entry",
    "tests/format/test_seal.py",
    "tests/keys/openpgp/test_key_file.py",
    "tests/sheet/test_draw.py",
)
_REQUIREMENT = re.compile(r"([A-Za-z0-9][A-Za-z0-9._-]*)>=([0-9]+(?:\.[0-9]+)*)(?:,<[0-9.]+)?")


def pin(requirement):
    """
    Return the requirement of exactly the lower bound of *requirement*; raises ValueError where it
    is anything but a name, a lower bound and perhaps an upper one.
    """
    bound = _REQUIREMENT.fullmatch(requirement)
    if bound is None:
        raise ValueError(f"no lower bound that can be run: {requirement}")
    return f"{bound[1]}=={bound[2]}"


def pins(project):
    """Return a pin for each dependency of *project*, the extras' too; its table in pyproject."""
    extras = project["optional-dependencies"].values()
    return tuple(map(pin, chain(project["dependencies"], *extras)))


def main():
    """Install, run, and end as pytest ends."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    if project["requires-python"] != f">={sys.version_info.major}.{sys.version_info.minor}":
        # Later Pythons have no wheels of some of these versions.
        print(f"lowest.py: not run, for that takes Python {project['requires-python'][2:]}")
        return
    venv.create(VENV, with_pip=True)
    (VENV / "pins.txt").write_text("\n".join(pins(project)))
    install = "-m pip install -q --disable-pip-version-check --only-binary=:all: pytest hypothesis"
    subprocess.run(
        [VENV / "bin/python", *install.split(), "-c", VENV / "pins.txt", f"{ROOT}[scan,typing]"],
        check=True,
    )
    # Not `python -m pytest`: that would import the package from here, not what was installed.
    sys.exit(subprocess.run([VENV / "bin/pytest", *SELECTION], cwd=ROOT, check=False).returncode)


if __name__ == "__main__":
    main()
