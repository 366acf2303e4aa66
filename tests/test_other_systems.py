"""
A system without what only POSIX has: every module can be imported there, and the main job runs.

The modules, the names of `os` and the signals that Windows lacks are those that the documentation
of Python 3.11 marks "Availability: Unix" or "not Windows".
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = ("fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty")
OS_NAMES = (
    "O_CLOEXEC", "O_DIRECTORY", "O_NOCTTY", "O_NOFOLLOW", "O_NONBLOCK", "O_TMPFILE",
    "chown", "fchmod", "fchown", "fork", "forkpty", "getegid", "geteuid", "getgid", "getgroups",
    "getloadavg", "getpgid", "getuid", "initgroups", "killpg", "lchown", "mkfifo", "mknod", "nice",
    "openpty", "pread", "pwrite", "setegid", "seteuid", "setgid", "setpgid", "setsid", "setuid",
    "statvfs", "sync", "sysconf", "tcgetpgrp", "ttyname", "uname", "wait", "WEXITSTATUS",
)  # fmt: skip
SIGNALS = (
    "SIGALRM", "SIGCHLD", "SIGHUP", "SIGPIPE", "SIGPROF", "SIGQUIT", "SIGTSTP",
    "alarm", "getitimer", "pthread_sigmask", "setitimer", "ITIMER_PROF", "ITIMER_REAL",
)  # fmt: skip

# The libraries are imported before, as each has its own ways there; then what is POSIX's goes.
HIDDEN = """
import importlib, json, os, pathlib, pkgutil, signal, sys
import click, cryptography.hazmat.primitives.ciphers.aead, getpass, reedsolo, segno, subprocess
import tempfile, reportlab.pdfgen.canvas, PIL.Image, numpy, pypdfium2, zxingcpp, prompt_toolkit
import prompt_toolkit.application, prompt_toolkit.input.defaults, prompt_toolkit.output.defaults
modules, os_names, signals, *arguments = json.loads(sys.argv[1])
sys.platform = "another"
for name in modules:
    sys.modules[name] = None
for name in os_names:
    vars(os).pop(name, None)
for name in signals:
    vars(signal).pop(name, None)
"""
IMPORT_ALL = """
import paperkey_alt
for found in pkgutil.walk_packages(paperkey_alt.__path__, "paperkey_alt."):
    if not found.name.endswith("__main__") and ".rescue." not in found.name:
        importlib.import_module(found.name)
        print(found.name)
"""
RUN = """
from paperkey_alt.cli import group
sys.argv = ["ragleaf", *arguments]
group.main()
"""


def elsewhere(code, *arguments, folder=None):
    """How *code* ends where nothing is that only POSIX has."""
    given = json.dumps([MODULES, OS_NAMES, SIGNALS, *map(str, arguments)])
    done = subprocess.run(
        [sys.executable, "-c", HIDDEN + code, given],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done


def test_every_module_can_be_imported():
    """None takes for granted at its top what other systems lack."""
    done = elsewhere(IMPORT_ALL)
    assert done.returncode == 0, done.stderr
    there = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for path in (ROOT / "paperkey_alt").rglob("*.py")
        if path.stem != "__main__" and path.parent.name != "rescue"
    }
    assert there - set(done.stdout.split()) == {"paperkey_alt"}


@pytest.mark.long
def test_the_main_job(tmp_path):
    """A key goes on paper, is checked, and comes back from its text and from its picture."""
    key, certificate = ROOT / "demo/buoy-keepers.asc", ROOT / "demo/buoy-keepers.cert.asc"
    for arguments in (
        ("backup", key, "-o", "s.pdf", "--text", "s.txt", "--register", "r.json"),
        ("check", "s.txt"),
        ("restore", "s.txt", "--public", certificate, "-o", "a.asc"),
        ("restore", "s.pdf", "--public", certificate, "-o", "b.asc"),
        ("register", "--register", "r.json"),
        ("preflight",),
    ):
        done = elsewhere(RUN, *arguments, folder=tmp_path)
        assert done.returncode == 0, done.stderr
    assert (tmp_path / "a.asc").read_bytes() == (tmp_path / "b.asc").read_bytes()
    assert b"PRIVATE KEY BLOCK" in (tmp_path / "a.asc").read_bytes()


@pytest.mark.parametrize("module", MODULES)
def test_the_modules_are_really_hidden(module):
    """The test can fail: importing one of them does."""
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.modules[{module!r}] = None; import {module}"],
        capture_output=True,
        check=False,
    )
    assert done.returncode == 1
