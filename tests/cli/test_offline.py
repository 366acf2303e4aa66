"""
Installation from the wheel folder, with the network cut, as docs/offline.md says; then the main
job.
"""

import shutil
import subprocess
import sys

import pytest
from desks import CERTIFICATE, KEY, ROOT


def is_possible():
    """Whether wheels can be had here, and a network namespace made."""
    needed = (
        [sys.executable, "-m", "pip", "index", "versions", "click"],
        ["unshare", "-rn", "true"],
    )
    return all(
        subprocess.run(command, capture_output=True, check=False).returncode == 0
        for command in needed
    )


pytestmark = pytest.mark.skipif(
    not is_possible(), reason="needs a package index and network namespaces"
)


@pytest.fixture(scope="module")
def wheels(tmp_path_factory):
    """The folder that the script makes."""
    folder = tmp_path_factory.mktemp("offline") / "wheels"
    subprocess.run(["sh", ROOT / "docs/make_wheels.sh", folder], check=True, capture_output=True)
    return folder


def test_installation_without_a_network(wheels, tmp_path):
    """
    The folder is made, every wheel in it is named with its hash, it installs without a network, and
    the program does its job.
    """
    named = (wheels / "requirements.txt").read_text().splitlines()
    assert len(named) == len(sorted(wheels.glob("*.whl"))) >= 12
    assert all(" --hash=sha256:" in row for row in named)
    script = f"""
        python3 -m venv ragleaf
        ragleaf/bin/pip install -q --no-index --find-links {wheels} --require-hashes -r {wheels}/requirements.txt
        ragleaf/bin/ragleaf backup {KEY} -o s.pdf --register r
        ragleaf/bin/ragleaf restore s.pdf --public {CERTIFICATE} -o key.asc
        cmp key.asc {KEY}
    """
    done = subprocess.run(
        ["unshare", "-rn", "sh", "-eu", "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_a_wheel_that_was_changed_is_refused(wheels, tmp_path):
    """One more byte in one wheel, and nothing is installed."""
    shutil.copytree(wheels, tmp_path / "wheels")
    with next((tmp_path / "wheels").glob("segno-*.whl")).open("ab") as wheel:
        wheel.write(b"\0")
    script = "python3 -m venv v && v/bin/pip install -q --no-index --find-links wheels --require-hashes -r wheels/requirements.txt"
    done = subprocess.run(
        ["unshare", "-rn", "sh", "-eu", "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0
    assert "HASH" in done.stderr.upper()
