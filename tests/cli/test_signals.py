"""
What a signal leaves behind: no hidden copy, no half a file, one sentence and 128 and its number.
"""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from desks import KEY, SMALL
from terminals import terminal

# Runs the command in a child for each event (a file opened, linked, renamed, removed), and sends
# the child a signal at that event: every place at which the file system changes is tried.
DRIVER = """
import json, os, signal, sys
from pathlib import Path
from paperkey_alt import __main__
from paperkey_alt.cli import backup_command, files, group
from paperkey_alt.sheet import draw
draw.register_fonts()
number, is_plain, events, *arguments = json.loads(sys.argv[1])
# A shell starts what runs in the background with the interrupt ignored.
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
if is_plain:
    # A file system without unnamed files and without links, as FAT is.
    files._UNNAMED = None
    def refuse(*_, **__):
        raise PermissionError(1, "Operation not permitted")
    os.link = Path.hardlink_to = refuse
def is_ours(name):
    return not name.startswith("/") or name.startswith("/proc/self/fd")
CHANGES = {"open", "os.link", "os.rename", "os.remove", "os.mkdir"}
for at in events:
    folder = Path(str(at))
    folder.mkdir()
    (folder / "s.pdf").write_bytes(b"old")
    child = os.fork()
    if not child:
        os.chdir(folder)
        sys.argv = ["ragleaf", *arguments]
        seen = 0
        def hook(event, given):
            global seen
            if event in CHANGES and is_ours(str(given[0])):
                seen += 1
                if seen == at:
                    os.kill(os.getpid(), number)
        sys.addaudithook(hook)
        try:
            __main__.main()
        except SystemExit as end:
            status = end.code
        finally:
            os._exit(status)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


OUTPUTS = ("-o", "s.pdf", "--text", "s.txt", "--force")


def driven(folder, number, events, *, plain=False, outputs=OUTPUTS):
    """The exit status of each run, and what it said."""
    note = folder / "note"
    note.write_bytes(b"the lamp of buoy 7 is out")
    arguments = ["backup", str(note), "--plain", "--allow-unprotected", "--no-register", *outputs]
    given = json.dumps([number, plain, list(events), *arguments])
    done = subprocess.run(
        [sys.executable, "-c", DRIVER, given],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return [int(row) for row in done.stdout.split()], done.stderr


def require_whole(folder):
    """Nothing is there but whole files under the names that were asked for."""
    names = {path.name for path in folder.iterdir()}
    assert names <= {"s.pdf", "s.txt"}
    pdf = (folder / "s.pdf").read_bytes()
    assert pdf == b"old" or pdf.rstrip().endswith(b"%%EOF")
    if "s.txt" in names:
        assert pdf != b"old"
        assert (folder / "s.txt").read_bytes().endswith(b"\n")


@pytest.mark.long
@pytest.mark.parametrize(
    "plain",
    [False, pytest.param(True, marks=pytest.mark.long)],
    ids=["unnamed files", "hidden names"],
)
def test_a_signal_at_each_change_of_the_file_system(tmp_path, plain):
    """
    SIGTERM at whatever file is opened, linked, renamed or removed: the status is 143, no hidden
    copy is left, and an old file is replaced only by a whole one.
    """
    events = range(1, 26)
    statuses, said = driven(tmp_path, signal.SIGTERM, events, plain=plain)
    assert statuses[0] == 143
    assert statuses[-1] == 0, "the events went to the end"
    assert set(statuses) == {0, 143}
    assert said.count("ragleaf: ended by a signal (SIGTERM).") == statuses.count(143)
    for at in events:
        require_whole(tmp_path / str(at))


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_other_signals(tmp_path, number):
    """The interrupt from the keyboard and the end of the terminal are no different."""
    statuses, _ = driven(tmp_path, number, (1, 4))
    assert statuses == [128 + number] * 2
    for at in (1, 4):
        require_whole(tmp_path / str(at))


@pytest.mark.parametrize(
    "events", [(1, 2, 3, 4), pytest.param(tuple(range(5, 31)), marks=pytest.mark.long)]
)
def test_no_folder_is_left_without_its_shares(tmp_path, events):
    """
    SIGINT at whatever is changed on the disk while shares go into two folders that are made: both
    are there with all their files, or neither is.
    """
    shares = ("--any", "2", "--of", "2", "-o", "sheets", "--text", "lines")
    statuses, _ = driven(tmp_path, signal.SIGINT, events, outputs=shares)
    assert set(statuses) <= {0, 130}
    assert statuses[0] == 130
    whole = ["lines", "s.pdf", "share-1.pdf", "share-1.txt", "share-2.pdf", "share-2.txt", "sheets"]
    for at in events:
        names = sorted(path.name for path in (tmp_path / str(at)).rglob("*"))
        assert names in (["s.pdf"], whole)


@pytest.mark.long
def test_killed_without_a_word(tmp_path):
    """
    SIGKILL lets nobody put anything in order: where files have no name until they are whole, a
    hidden copy can be there only for the moment of replacing.
    """
    statuses, _ = driven(tmp_path, signal.SIGKILL, range(1, 26))
    hidden = list(tmp_path.glob("*/.*"))
    assert set(statuses) == {0, -9}
    assert len({path.parent for path in hidden}) <= 6
    for path in hidden:
        assert path.stat().st_mode & 0o077 == 0


def test_what_was_left_behind_is_told(desk):
    """At the next run, by its name; what a running process writes is not told."""
    desk.write(".ragleaf-999999999-0.part", "secret")
    desk.write(f".ragleaf-{os.getpid()}-0.part", "secret")
    said = desk.ok("rescue", "-o", "r.py").err
    assert ".ragleaf-999999999-0.part is left over from a run that was cut short" in said
    assert str(os.getpid()) not in said


def started(desk, *arguments, **others):
    """The command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "paperkey_alt", *map(str, arguments)],
        cwd=desk.folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        **others,
    )


def killed_at_random(desk, runs):
    """Send SIGTERM after random times, from the start of Python on."""
    chance = random.Random(7)
    for _ in range(runs):
        process = started(desk, "backup", KEY, "-o", "s.pdf", "--no-register", "--force")
        time.sleep(chance.uniform(0.05, 0.9))
        process.terminate()
        _, said = process.communicate(timeout=60)
        assert process.returncode in (0, 143, -15)
        assert b"Traceback" not in said
        assert set(desk.files()) <= {"pw", "s.pdf"}


@pytest.mark.long
def test_killed_at_random(desk):
    """Whenever it comes, nothing but whole files is left."""
    killed_at_random(desk, 4)


@pytest.mark.long
def test_killed_at_random_many_times(desk):
    """The same fifteen times."""
    killed_at_random(desk, 15)


def test_an_ignored_signal_stays_ignored(desk):
    """Under nohup the end of the terminal does not end the job."""
    ignore = lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN)  # noqa: E731
    process = started(desk, "check", "-", stdin=subprocess.PIPE, preexec_fn=ignore)
    time.sleep(1)
    process.send_signal(signal.SIGHUP)
    process.communicate(b"", timeout=60)
    assert process.returncode == 1


def test_while_a_row_is_typed(desk, printed):
    """`type` ended by a signal keeps the lines that were right."""
    rows = printed.read("s.txt").decode().splitlines()
    head = next(row for row in rows if row.split()[:1] == ["0"]).split(None, 1)[1]
    process = started(desk, "type", "l.txt", stdin=subprocess.PIPE)
    process.stdin.write(f"{head}\n".encode())
    process.stdin.flush()
    end = time.monotonic() + 30
    while "l.txt" not in desk.files() and time.monotonic() < end:
        time.sleep(0.05)
    process.terminate()
    _, said = process.communicate(timeout=60)
    assert process.returncode == 143
    assert b"Traceback" not in said
    assert len(desk.read("l.txt").splitlines()) == 1


def test_while_a_stream_is_written(desk):
    """What can no longer be taken back is not said to be whole."""
    process = started(desk, "backup", SMALL, "-o", "-", "--no-register")
    assert os.read(process.stdout.fileno(), 1) == b"%"  # and no more: the pipe is full
    time.sleep(0.2)
    process.terminate()
    _, said = process.communicate(timeout=60)
    assert process.returncode == 143
    assert b"What was being written to the stream is not complete." in said
    assert b"half written" not in said


def test_on_a_full_screen(desk):
    """The typing screen gives the terminal back, and the status is the same."""
    with terminal(desk, "type", "l.txt") as (send, process):
        send("", "Ctrl-Q")
        process.terminate()
        assert "Traceback" not in send("", "ended by a signal (SIGTERM)")
        assert process.wait(20) == 143


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_the_memory_is_dumped_by_nobody(desk):
    """No core dumps, and no other process of the user may read the memory."""
    process = started(desk, "check", "-", stdin=subprocess.PIPE)
    end = time.monotonic() + 30
    try:
        while time.monotonic() < end:
            limits = Path(f"/proc/{process.pid}/limits").read_text()
            core = next(row for row in limits.splitlines() if row.startswith("Max core"))
            if core.split()[4] == "0":
                break
            time.sleep(0.05)
        assert core.split()[4] == "0"
    finally:
        process.kill()
        process.communicate()
    code = (
        "import ctypes; from paperkey_alt.cli import process; process.lock_down(); "
        "print(ctypes.CDLL(None).prctl(3, 0, 0, 0, 0))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"
