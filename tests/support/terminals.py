"""A terminal of 80 × 24 without colour, to run the command in."""

import os
import pty
import select
import struct
import sys
import time
from contextlib import contextmanager
from fcntl import ioctl
from subprocess import Popen
from termios import TIOCSWINSZ


@contextmanager
def terminal(desk, *arguments):
    """
    The command in a terminal of 80 × 24 without colour; yields what sends keys and returns what was
    written to the screen.
    """
    ours, theirs = pty.openpty()
    ioctl(theirs, TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    environment = os.environ | {"TERM": "linux", "NO_COLOR": "1"}
    command = [sys.executable, "-m", "paperkey_alt", *arguments]
    with Popen(
        command, cwd=desk.folder, stdin=theirs, stdout=theirs, stderr=theirs, env=environment
    ) as process:
        os.close(theirs)

        def send(keys, until):
            os.write(ours, keys.encode())
            written, end = "", time.monotonic() + 20
            while until not in written and time.monotonic() < end:
                if select.select([ours], [], [], 0.1)[0]:
                    try:
                        written += os.read(ours, 1 << 16).decode(errors="replace")
                    except OSError:
                        break
            assert until in written, repr(written[-3000:])
            return written

        try:
            yield send, process
        finally:
            process.kill()
            os.close(ours)
