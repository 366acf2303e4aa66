"""
Types a text file of lines badly, always in the same way: ``python demo/damage.py LINES TYPED``.
"""

import sys
from pathlib import Path

LOST = 40


def mistype(row: str) -> str | None:
    """Return the row as the careless typist types it, None where it is lost."""
    number, _, rest = row.strip().partition("  ")
    text = rest.replace(" ", "")
    if number == str(LOST):
        return None
    if number == "12":
        text = text[:5] + text[6] + text[5] + text[7:]
    if number == "20":
        text = text[:9] + text[10:]
    if number == "33":
        text = other(text, 3, 17)
    if number == "51":
        text = text[:8] + "?" * 12 + text[20:]
    return f"{number} {text.lower()}"


def other(text: str, *places: int) -> str:
    """Return the text with another character at each of the places."""
    return "".join(
        "QZ"[character == "Q"] if at in places else character for at, character in enumerate(text)
    )


def main(source: str, target: str) -> None:
    """Read the lines from one file and write what was typed to the other."""
    rows = [
        row
        for row in Path(source).read_text(encoding="utf-8").splitlines()
        if not row.startswith("#")
    ]
    Path(target).write_text(
        "".join(f"{row}\n" for row in map(mistype, rows) if row is not None), encoding="utf-8"
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
