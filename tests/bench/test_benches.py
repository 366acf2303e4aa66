"""
The programs that time and count run to their end on little; what they say is for docs/figures.md.
"""

import subprocess
import sys
from pathlib import Path

import pytest

# program → arguments for little, and the head of a row that it prints
BENCHES = {
    "job.py": (("--repeats", "1", "--pairs", "1"), "RSA-4096 pair, lean"),
    "shares.py": (("250",), "12 kB, 16 of 16"),
    "damage.py": (("500",), "within  exact"),
    "line_code.py": (("997",), "| two wrong characters"),
    "hypotheses.py": (("3",), "dropped at most"),
    "liars.py": (("14", "2"), "| 16 of 16, 8 numbers forged"),
    "typist.py": (("1",), "  lines with a slip"),
}


@pytest.mark.long
@pytest.mark.parametrize("name", BENCHES)
def test_a_bench_runs(name, tmp_path):
    """It ends well, and prints its table."""
    arguments, head = BENCHES[name]
    done = subprocess.run(
        [sys.executable, Path(__file__).parent / name, *arguments],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert any(row.startswith(head) for row in done.stdout.splitlines())
