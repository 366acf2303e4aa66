"""Installation from the wheel folder, with the network cut, as docs/offline.md says; then the main job."""

import subprocess
import sys

import pytest
from desks import CERTIFICATE, KEY, ROOT


def is_possible():
    """Whether wheels can be had here, and a network namespace made."""
    needed = ([sys.executable, "-m", "pip", "index", "versions", "click"], ["unshare", "-rn", "true"])
    return all(subprocess.run(command, capture_output=True, check=False).returncode == 0 for command in needed)


@pytest.mark.skipif(not is_possible(), reason="needs a package index and network namespaces")
def test_installation_without_a_network(tmp_path):
    """The folder is made, every wheel in it is named with its hash, it installs without a network, and the program does its job."""
    subprocess.run(["sh", ROOT / "docs/make_wheels.sh", tmp_path / "wheels"], check=True, capture_output=True)
    wheels = sorted((tmp_path / "wheels").glob("*.whl"))
    named = (tmp_path / "wheels/requirements.txt").read_text().splitlines()
    assert len(named) == len(wheels) >= 12
    assert all(" --hash=sha256:" in row for row in named)
    script = f"""
        python3 -m venv ragleaf
        ragleaf/bin/pip install -q --no-index --find-links wheels --require-hashes -r wheels/requirements.txt
        ragleaf/bin/ragleaf backup {KEY} -o s.pdf --register r
        ragleaf/bin/ragleaf restore s.pdf --public {CERTIFICATE} -o key.asc
        cmp key.asc {KEY}
    """
    done = subprocess.run(["unshare", "-rn", "sh", "-eu", "-c", script], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(not is_possible(), reason="needs a package index and network namespaces")
def test_a_wheel_that_was_changed_is_refused(tmp_path):
    """One more byte in one wheel, and nothing is installed."""
    subprocess.run(["sh", ROOT / "docs/make_wheels.sh", tmp_path / "wheels"], check=True, capture_output=True)
    with next((tmp_path / "wheels").glob("segno-*.whl")).open("ab") as wheel:
        wheel.write(b"\0")
    script = "python3 -m venv v && v/bin/pip install -q --no-index --find-links wheels --require-hashes -r wheels/requirements.txt"
    done = subprocess.run(["unshare", "-rn", "sh", "-eu", "-c", script], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "HASH" in done.stderr.upper()
