"""
Beside ``ragleaf restore`` of text: the base32 of its lines, joined, and a digest of the bytes, by
no library but Python's own. `bare.text` is the same with those of the command.
"""

import base64
import hashlib
import sys


def main():
    """Print the digest of the lines in the text file that is named."""
    with open(sys.argv[1]) as file:  # noqa: PTH123 - pathlib takes long to load
        rows = [row for row in file.read().split("\n") if row and row[0] != "#"]
    data = base64.b32decode("".join(row[6:].replace(" ", "")[:24] for row in rows))
    print(hashlib.sha256(data).hexdigest())


if __name__ == "__main__":
    main()
