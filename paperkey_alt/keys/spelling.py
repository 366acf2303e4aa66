"""
The spellings of a passphrase in Unicode: `spellings`.

A keyboard, a file and a clipboard may give the same visible text in other code points (é as one, or
as e and an accent). OpenPGP hashes the octets as they were typed when the key was protected (RFC
9580 §3.7.1 says nothing of a normal form), so each spelling is another passphrase to it.
"""

from __future__ import annotations

import unicodedata


def spellings(passphrase: str) -> tuple[str, ...]:
    """
    Return *passphrase* as it was typed, in NFC and in NFD (Unicode Standard Annex #15), without
    repetition: one for ASCII.
    """
    return tuple(
        dict.fromkeys(
            (
                passphrase,
                unicodedata.normalize("NFC", passphrase),
                unicodedata.normalize("NFD", passphrase),
            )
        )
    )
