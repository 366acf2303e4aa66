"""
Decodes a file as ``ragleaf restore`` does, in a process ``apart``, or else in this one.
"""

import sys
from pathlib import Path

from paperkey_alt.reading.image import decoder, scans


def main():
    """Decode the file that is named last."""
    *apart, name = sys.argv[1:]
    data = Path(name).read_bytes()
    if apart:
        with decoder.decoded(data, name) as (_, pictures):
            areas = [picture.width * picture.height for picture in pictures]
    else:
        scans.load(data)
        areas = [picture.width * picture.height for picture in scans.pages(data, name)]
    print(sum(areas))


if __name__ == "__main__":
    main()
