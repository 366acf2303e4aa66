"""
A client of the protocol by which Firefox is driven, as far as the tests of a page need it.

A message is its length in decimal, a colon, and JSON: [0, id, command, parameters], answered by
[1, id, error, result]. The commands are those of WebDriver (W3C), under Mozilla's names.
"""

import contextlib
import json
import socket
import subprocess
import time


class Firefox:
    """A Firefox without a window, with a profile of its own in *folder*."""

    def __init__(self, executable, folder):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        (folder / "user.js").write_text(f'user_pref("marionette.port", {port});\n')
        self.process = subprocess.Popen(
            [executable, "--headless", "--no-remote", "--marionette", "--profile", folder],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(300):
            with contextlib.suppress(OSError):
                self.socket = socket.create_connection(("127.0.0.1", port), timeout=60)
                break
            time.sleep(0.1)
        self.stream = self.socket.makefile("rwb")
        self._receive()
        self.version = self.call("WebDriver:NewSession")["capabilities"]["browserVersion"]

    def _receive(self):
        length = b""
        while (byte := self.stream.read(1)) != b":":
            length += byte
        return json.loads(self.stream.read(int(length)))

    def call(self, command, **parameters):
        """The result of a command."""
        message = json.dumps([0, 1, command, parameters]).encode()
        self.stream.write(b"%d:%s" % (len(message), message))
        self.stream.flush()
        _, _, error, result = self._receive()
        assert error is None, error
        return result

    def run(self, function, argument=None):
        """What an async function of JavaScript, given *argument*, gives."""
        script = (
            f"const done = arguments[1]; ({function})(arguments[0])"
            ".then(value => done({value}), error => done({error: String(error)}));"
        )
        answer = self.call(
            "WebDriver:ExecuteAsyncScript", script=script, args=[argument], sandbox=None
        )["value"]
        assert "error" not in answer, answer
        return answer.get("value")

    def close(self):
        """End it."""
        self.stream.close()
        self.socket.close()
        self.process.terminate()
        self.process.wait(30)
