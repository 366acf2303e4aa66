"""
Installation from the wheel folder, with the network cut, as docs/offline.md says; then the main
job.
"""

import shutil
import subprocess
import sys

import pytest
from desks import CERTIFICATE, KEY, ROOT

# From docs/offline.md.
WHEELS = "--no-index --find-links ragleaf-wheels --require-hashes"
INSTALL = (
    "python3 -m venv ragleaf",
    f"ragleaf/bin/pip install {WHEELS} -r ragleaf-wheels/requirements.txt",
)
CAN_BE = (
    [sys.executable, "-m", "pip", "index", "versions", "click"],
    ["unshare", "-rn", "true"],
)


def offline(script, folder):
    """The end of a shell script that is run in the folder without a network."""
    return subprocess.run(
        ["unshare", "-rn", "sh", "-eu", "-c", script],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def wheels(tmp_path_factory):
    """The folder that the script makes, where wheels can be had and a network namespace made."""
    if any(subprocess.run(one, capture_output=True, check=False).returncode for one in CAN_BE):
        pytest.skip("needs a package index and network namespaces")
    folder = tmp_path_factory.mktemp("offline") / "wheels"
    subprocess.run(["sh", ROOT / "docs/make_wheels.sh", folder], check=True, capture_output=True)
    return folder


def test_the_document_has_the_commands_that_are_tested():
    """Each row of them, word for word."""
    rows = (ROOT / "docs/offline.md").read_text("utf-8").splitlines()
    assert {f"    {command}" for command in INSTALL} <= set(rows)


@pytest.mark.long
def test_installation_without_a_network(wheels, tmp_path):
    """
    The folder is made, every wheel in it is named with its hash, it installs without a network, and
    the program does its job.
    """
    named = (wheels / "requirements.txt").read_text().splitlines()
    assert len(named) == len(sorted(wheels.glob("*.whl"))) >= 12
    assert all(" --hash=sha256:" in row for row in named)
    (tmp_path / "ragleaf-wheels").symlink_to(wheels)
    job = (
        f"ragleaf/bin/ragleaf backup {KEY} -o s.pdf --register r",
        f"ragleaf/bin/ragleaf restore s.pdf --public {CERTIFICATE} -o key.asc",
        f"cmp key.asc {KEY}",
    )
    done = offline("\n".join((*INSTALL, *job)), tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.long
def test_a_wheel_that_was_changed_is_refused(wheels, tmp_path):
    """One more byte in one wheel, and nothing is installed."""
    shutil.copytree(wheels, tmp_path / "ragleaf-wheels")
    with next((tmp_path / "ragleaf-wheels").glob("segno-*.whl")).open("ab") as wheel:
        wheel.write(b"\0")
    done = offline("\n".join(INSTALL), tmp_path)
    assert done.returncode != 0
    assert "HASH" in done.stderr.upper()
    assert not (tmp_path / "ragleaf/bin/ragleaf").exists()
