"""A secret on its way to paper or back from it, whatever kind of file it is of."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from paperkey_alt.format.payload import Compact, Lean, Whole

if TYPE_CHECKING:
    from datetime import datetime

    from paperkey_alt.format.payload import Payload
    from paperkey_alt.keys.openpgp.key import Key


class Form(enum.Enum):
    """
    The kind of print wished: the secret part alone, all that is needed, only what cannot be
    computed, or the file as it is.
    """

    LEAN = "lean"
    WHOLE = "whole"
    COMPACT = "compact"
    PLAIN = "plain"


class Caution(enum.Enum):
    """What makes a passphrase over a secret protect it less than it might (RFC 9580 §3.7)."""

    SIMPLE_S2K = enum.auto()  # hashed once and without a salt
    LOW_COUNT = enum.auto()  # hashed over fewer octets than a guess should cost
    MD5 = enum.auto()
    SUM = enum.auto()  # a sum of two bytes is all that checks it


@dataclass(frozen=True)
class Weak:
    """A *caution* about the secret of the key packet with this *title*."""

    title: str
    caution: Caution


class Sort(enum.Enum):
    """What a print is of, in the words that its sheets have for it."""

    OPENPGP_KEY = "OpenPGP key"
    PRIVATE_KEY = "private key"
    FILE = "file"


# What a print of an OpenPGP key is called, on its sheets and in the register.
OPENPGP_PRINTS: dict[type[Payload], str] = {
    Lean: "OpenPGP key, lean",
    Whole: "OpenPGP key, whole",
    Compact: "OpenPGP key, compact",
}


# What to do where sheets were read, and no key comes of what they carry.
NOT_REBUILT = (
    "The lines of these sheets could be read; this Ragleaf cannot work with what they carry. Use a "
    "newer one, or follow the recipe printed on the sheet."
)


@dataclass(frozen=True)
class Lack:
    """
    A key packet whose secret the file has not got: *title* names it in short ("primary key",
    "subkey 5A2B4966AD6AD0D5"); *is_stub* tells whether a stub stands in its place.
    """

    title: str
    is_stub: bool


@dataclass(frozen=True)
class Extract:
    """
    A secret to be printed, and what its sheets say of it.

    *what* names it in a title ("OpenPGP key, lean"); *name* is a user ID or a file's
    name; *fingerprint* is hexadecimal, None where nothing public is known; *created* and *expires*
    are in UTC, None where they are not known; *protected* tells whether a passphrase of its own is
    over all of it, with a cipher, and not an empty one as far as that was tried; *cautions* say
    what is weak in that; *notes* are sentences on what of it is not printed, or not as was wished;
    *seal_passphrase* is that of the seal to print it under, None where there is to be no seal;
    *seal_is_own* tells whether it is the key's own passphrase; *lacks* are the key packets whose
    secret is not printed; *is_revocable* tells whether a revocation certificate can be made of it
    that it does not carry already; *partly_protected* tells that it is not *protected*, and that
    such a passphrase is over some of it.
    """

    payload: Payload
    what: str
    name: str | None
    fingerprint: str | None
    created: datetime | None
    protected: bool
    notes: tuple[str, ...] = ()
    expires: datetime | None = None
    seal_passphrase: str | None = field(default=None, repr=False)
    cautions: tuple[Weak, ...] = ()
    sort: Sort = Sort.OPENPGP_KEY
    seal_is_own: bool = False
    lacks: tuple[Lack, ...] = ()
    is_revocable: bool = False
    partly_protected: bool = False

    @property
    def has_passphrase(self) -> bool:
        """Whether a passphrase of its own is over all of it or some."""
        return self.protected or self.partly_protected


@dataclass(frozen=True)
class Rebuilt:
    """
    A secret back from paper: the file as *data*, and in *binary* form where there is another one;
    *title* names it, *notes* are sentences on what it came back without. *key* is there for OpenPGP
    keys; *is_certificate* and *is_revocation* tell that it is a public certificate, or a
    revocation certificate, and no secret. *sort* is what it is a copy of, by its content.
    """

    data: bytes
    binary: bytes
    title: str
    notes: tuple[str, ...] = ()
    key: Key | None = None
    is_certificate: bool = False
    is_revocation: bool = False
    sort: Sort = Sort.OPENPGP_KEY
