"""
Decodes a file and looks for QR symbols as ``ragleaf restore`` does, in a process ``apart``, or else
in this one.
"""

import sys
from pathlib import Path

from paperkey_alt.reading.image import codes, decoder, scans


def main():
    """Print how many symbols are on the pages of the file that is named last."""
    *apart, name = sys.argv[1:]
    data = Path(name).read_bytes()
    count = 0
    if apart:
        with decoder.decoded(data, name) as (_, pages):
            for page in pages:
                count += len(page.codes(codes.LOCAL_AVERAGE))
    else:
        scans.load(data)
        for width, height, pixels, _ in scans.pages(data):
            count += len(codes.find(pixels, width, height, codes.LOCAL_AVERAGE))
    print(count)


if __name__ == "__main__":
    main()
