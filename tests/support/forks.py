"""
Runs the command in processes that are forked from one which has imported everything: most of what
a short command takes is importing. `Forks` is held by the tests; run as a program, this file is
that one process.
"""

import json
import os
import socket
import subprocess
import sys
import tempfile
import traceback
from contextlib import ExitStack

# One more byte than a request may have (a list of arguments and a folder).
LONGEST = 1 << 16


class Forks:
    """A process that imported the command, and forks where it is asked to run it."""

    def __init__(self):
        self.door, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            # A pool of threads does not survive a fork.
            environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
            command = [sys.executable, "-P", __file__, str(theirs.fileno())]
            self.process = subprocess.Popen(
                command, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL, env=environment
            )

    def run(self, arguments, folder, environment, stdin):
        """Run the command; return its exit status, standard output and standard error."""
        request = {"arguments": arguments, "folder": str(folder), "environment": environment}
        with ExitStack() as stack:
            streams = [stack.enter_context(tempfile.TemporaryFile()) for _ in range(3)]
            streams[0].write(stdin.encode())
            streams[0].seek(0)
            socket.send_fds(
                self.door, [json.dumps(request).encode()], [stream.fileno() for stream in streams]
            )
            status = int(self.door.recv(LONGEST))
            for stream in streams:
                stream.seek(0)
            return status, *(stream.read().decode() for stream in streams[1:])

    def close(self):
        """End the process."""
        self.door.close()
        self.process.wait()


def serve(door):
    """Fork for each request until the door is closed."""
    while True:
        request, streams, _, _ = socket.recv_fds(door, LONGEST, 3)
        if not request:
            return
        child = os.fork()
        if not child:
            run(json.loads(request), streams)
        for stream in streams:
            os.close(stream)
        _, status = os.waitpid(child, 0)
        door.send(str(os.waitstatus_to_exitcode(status)).encode())


def run(request, streams):
    """Be the command: its arguments, folder, environment and streams, and its end."""
    for number, stream in enumerate(streams):
        os.dup2(stream, number)
    os.chdir(request["folder"])
    os.environ.update(request["environment"])
    sys.argv = ["ragleaf", *request["arguments"]]
    status = 0
    try:
        group.main()
    except SystemExit as end:
        status = end.code
    except BaseException:  # noqa: BLE001 - as the interpreter ends
        traceback.print_exc()
        status = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


if __name__ == "__main__":
    import gc
    import pkgutil
    from importlib import import_module

    import paperkey_alt
    from paperkey_alt.cli import group

    for module in pkgutil.walk_packages(paperkey_alt.__path__, "paperkey_alt."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    gc.freeze()
    serve(socket.socket(fileno=int(sys.argv[1])))
