"""Which key of a file is meant: `choose`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from paperkey_alt.errors import NoSuchKey, SeveralKeys

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from paperkey_alt.keys.openpgp.key import Key

SHORTEST_FINGERPRINT_DIGITS = 16
MOST_LISTED = 20


def choose(keys: Sequence[Key], fingerprint: str | None) -> Key:
    """
    Return the one key, or the one that *fingerprint* names.

    *fingerprint* is hexadecimal in either case, with or without blanks, colons and a leading 0x:
    whole, its last 16 digits or more, or the key ID. Of a public and a secret copy of one key the
    secret one is meant. Raises NoSuchKey or SeveralKeys, with a list.
    """
    copies = keys if fingerprint is None else _named(keys, fingerprint)
    count = len({key.fingerprint for key in copies})
    if count > 1:
        raise SeveralKeys(f"the file has {count} keys: {_listed(copies)}")
    with_secrets = [key for key in copies if key.secret_packets]
    distinct = list(dict.fromkeys(with_secrets or copies))
    if len(distinct) > 1:
        raise SeveralKeys(
            f"the file has {len(distinct)} different copies of the key {distinct[0].title}",
            advice="Give a file with one of them.",
        )
    return distinct[0]


def _named(keys: Sequence[Key], fingerprint: str) -> list[Key]:
    digits = re.sub(r"[\s:]", "", fingerprint).lower().removeprefix("0x")
    if not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_FINGERPRINT_DIGITS},}}", digits):
        raise NoSuchKey(
            f"{fingerprint!r} is not a fingerprint",
            advice=(
                "Give the hexadecimal digits of the fingerprint, at least the last "
                f"{SHORTEST_FINGERPRINT_DIGITS}."
            ),
        )
    named = [
        key
        for key in keys
        if key.fingerprint.hex().endswith(digits) or key.primary.key_id.hex() == digits
    ]
    if not named:
        raise NoSuchKey(f"the file has no key {fingerprint.strip()}; it has {_listed(keys)}")
    return named


def _listed(keys: Iterable[Key]) -> str:
    titles = list(dict.fromkeys(key.title for key in keys))
    more = [f"and {len(titles) - MOST_LISTED} more"] if len(titles) > MOST_LISTED else []
    return "; ".join([*titles[:MOST_LISTED], *more])
