"""
Private-key files that are not OpenPGP: PKCS #8 (RFC 5958), PKCS #1 (RFC 8017 §A.1.2), SEC 1 (RFC
5915) and OpenSSH, PEM or DER: `extract` and `rebuild`.

The file is carried byte for byte. An RSA key that is not protected can be carried by its primes
alone where the library writes the same file from them.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from cryptography.exceptions import InternalError, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_der_private_key,
    load_pem_private_key,
    load_ssh_private_key,
)

from paperkey_alt.errors import (
    DamagedKeyFile,
    KeyFileError,
    KeyPairMismatch,
    UnprotectedSecret,
    UnsupportedKey,
)
from paperkey_alt.format.payload import File, RsaFile
from paperkey_alt.keys import any_file, pem, rsa
from paperkey_alt.keys.secret import NOT_REBUILT, Extract, Rebuilt, Sort
from paperkey_alt.keys.spelling import spellings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from cryptography.hazmat.primitives.asymmetric.types import PrivateKeyTypes

    from paperkey_alt.format.body import Ask

# How the library writes an RSA key: the numbers are part of the format (docs/format.md, "Payload").
_STYLES = {
    1: (Encoding.PEM, PrivateFormat.PKCS8),
    2: (Encoding.DER, PrivateFormat.PKCS8),
    3: (Encoding.PEM, PrivateFormat.TraditionalOpenSSL),
    4: (Encoding.DER, PrivateFormat.TraditionalOpenSSL),
}

# What the library raises for a key that it cannot load, besides ValueError: an algorithm or a
# compressed point that it does not know, a raw key of the wrong length.
_UNKNOWN = (UnsupportedAlgorithm, NotImplementedError)
_MALFORMED = (ValueError, InternalError)
# And what computing one raises where the numbers make none.
_NO_KEY = (ZeroDivisionError, *_MALFORMED)

_SORT = Sort.PRIVATE_KEY
_PKCS12 = (
    "Export the private key from it as PKCS #8 and give that file; or print the file as it is with "
    "ragleaf backup --plain."
)
_UNOPENED = (
    "Print it without --prove and --compact: then it is printed byte for byte, under its own "
    "passphrase."
)
_UNPROTECTED = (
    "Seal it with --seal; or give the key a passphrase in the program that made it; or use "
    "--allow-unprotected if you will guard the sheet as well as the key itself."
)
_NOT_READ = (
    "Give another copy of the file, or export the key again from the program that made it. ragleaf "
    "backup --plain prints the file as it is, whatever it is."
)
_NOT_REDUCED = "The file is printed in full: it cannot be computed back to the same bytes."


@dataclass(frozen=True)
class Opened:
    """
    A private key, what kind of file it came from, and the passphrase that was over it, None where
    none was.
    """

    key: PrivateKeyTypes
    kind: str
    passphrase: str | None = field(repr=False)

    @property
    def protected(self) -> bool:
        """Whether a passphrase that is not empty was over it."""
        return bool(self.passphrase)


def open_(data: bytes, ask: Ask, known: Iterable[str] = ()) -> Opened:
    """
    Return the key in *data*; *known* passphrases are tried before *ask* is called for one.

    The library checks on loading that the parts of a key belong together. Raises DamagedKeyFile,
    UnsupportedKey, WrongPassphrase.
    """
    unprotected = _open_unprotected(data)
    if unprotected is not None:
        return unprotected
    kind, load = pem.kind(data), _loader(pem.label(data))
    data = pem.without_parameters(data)
    waiting = list(known)
    while True:
        passphrase = waiting.pop(0) if waiting else ask(f"private key ({kind})")
        for spelling in spellings(passphrase):
            try:
                return Opened(load(data, spelling.encode() or _EMPTY), kind, spelling)
            except InternalError:
                raise _damaged(kind) from None
            except _UNKNOWN:
                raise UnsupportedKey(
                    f"Ragleaf cannot try the passphrase of the private key ({kind})",
                    advice=_UNOPENED,
                ) from None
            except (ValueError, TypeError):
                # A TypeError is what the library raises for an empty one, of some kinds of file.
                continue


# The library refuses an empty passphrase. HMAC fills a key up with zeros (RFC 2104 §2), so that for
# PBKDF2 (RFC 8018 §5.2), and for scrypt, which begins with it, this one is the same; for other
# derivations it opens nothing.
_EMPTY = b"\0"


def _opens_empty(data: bytes) -> bool:
    """
    Tell whether an empty passphrase opens the protected key in *data*, as far as that is cheap to
    try. Of one for which it is not nothing is said.
    """
    cost = pem.cost(data)
    if cost is None or cost > _HIGHEST_COST:
        return False
    try:
        _loader(pem.label(data))(pem.without_parameters(data), _EMPTY)
    except (TypeError, *_MALFORMED, *_UNKNOWN):
        return False
    return True


# About a second and a half.
_HIGHEST_COST = 1 << 22


def _open_unprotected(data: bytes) -> Opened | None:
    """Return the key in *data*, None where a passphrase is over it; raises DamagedKeyFile."""
    kind, load = pem.kind(data), _loader(pem.label(data))
    data = pem.without_parameters(data)
    try:
        return Opened(load(data, None), kind, None)
    except TypeError:
        # What the library raises where a passphrase is needed.
        return None
    except (*_MALFORMED, *_UNKNOWN):
        if not _is_protected_openssh(data):
            raise _damaged(kind) from None
        return None


def _require_readable(data: bytes) -> None:
    """Raise KeyFileError for PKCS #12, which begins as a private key in DER does."""
    if pem.is_pkcs12(data):
        raise KeyFileError(
            "the file is PKCS #12, which holds keys and certificates", advice=_PKCS12
        )


def extract(  # noqa: PLR0913 - each is a wish of its own
    data: bytes,
    name: str,
    *,
    compact: bool,
    allow_unprotected: bool,
    ask: Ask | None,
    blind: bytes,
) -> Extract:
    """
    Return the private-key file *name* as something to print; *blind* is 16 random bytes.

    With *ask* a protected one is opened, so that its public fingerprint can be shown. With
    *compact* an unprotected RSA key is reduced to its primes where the identical file follows from
    them. Raises UnprotectedSecret unless *allow_unprotected* is set.
    """
    shown = any_file.carried_name(name)
    _require_readable(data)
    opened = _open_unprotected(data) if ask is None else open_(data, ask)
    if opened is None:
        is_protected = not _opens_empty(data)
        if not is_protected and not allow_unprotected:
            raise UnprotectedSecret(
                f"an empty passphrase opens the private key ({pem.kind(data)}): anyone with the "
                "sheet has the key",
                advice=_UNPROTECTED,
            )
        return Extract(
            File(shown, data, blind),
            "Private key",
            shown,
            None,
            None,
            protected=is_protected,
            sort=_SORT,
        )
    if not opened.protected and not allow_unprotected:
        raise UnprotectedSecret(
            f"no passphrase protects the private key ({opened.kind}): anyone with the sheet "
            "has the key",
            advice=_UNPROTECTED,
        )
    reduced = _reduced(opened, data, shown) if compact else None
    notes = (_NOT_REDUCED,) if compact and reduced is None else ()
    what = f"Private key ({opened.kind})"
    return Extract(
        reduced or File(shown, data, blind),
        what,
        shown,
        fingerprint(opened.key),
        None,
        opened.protected,
        notes,
        sort=_SORT,
    )


def rebuild(payload: RsaFile) -> Rebuilt:
    """
    Return the file that *payload* was reduced from; raises KeyPairMismatch where its numbers make
    no key.
    """
    data = _written(payload)
    return Rebuilt(data, data, f"the private key {payload.name}", sort=_SORT)


def fingerprint(key: PrivateKeyTypes) -> str:
    """Return the SHA-256 of the SubjectPublicKeyInfo (RFC 5280 §4.1.2.7) in hexadecimal."""
    public = key.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return hashlib.sha256(public).hexdigest().upper()


def _loader(label: str | None) -> Callable[[bytes, bytes | None], PrivateKeyTypes]:
    if label == pem.OPENSSH:
        return load_ssh_private_key
    return load_pem_private_key if label else load_der_private_key


def _is_protected_openssh(data: bytes) -> bool:
    if pem.label(data) != pem.OPENSSH:
        return False
    try:
        load_ssh_private_key(data, b"-")
    except UnsupportedAlgorithm:
        # Only a protected file gets as far as the missing key derivation.
        return True
    except (*_MALFORMED, TypeError, NotImplementedError):
        return False
    return True


def _damaged(kind: str) -> DamagedKeyFile:
    return DamagedKeyFile(
        f"the private key ({kind}) is damaged, or of a kind that Ragleaf cannot read",
        advice=_NOT_READ,
    )


def _reduced(opened: Opened, data: bytes, name: str) -> RsaFile | None:
    """Return the payload from which `_written` gives *data* back; None where none does."""
    if opened.passphrase is not None or not isinstance(opened.key, RSAPrivateKey):
        return None
    numbers = opened.key.private_numbers()
    e, p, q = numbers.public_numbers.e, numbers.p, numbers.q
    for rule in rsa.EXPONENT_RULES:
        try:
            key = _computed(rule, e, p, q)
        except _NO_KEY:
            continue
        for style in _STYLES:
            if _in_style(key, style) == data:
                return RsaFile(name, style, rule, e, p, q)
    return None


def _written(payload: RsaFile) -> bytes:
    try:
        key = _computed(payload.rule, payload.exponent, payload.p, payload.q)
        return _in_style(key, payload.style)
    except (KeyError, *_NO_KEY):
        raise KeyPairMismatch(
            "the numbers on the paper make no RSA key", advice=NOT_REBUILT
        ) from None


def _computed(rule: int, e: int, p: int, q: int) -> RSAPrivateKey:
    return rsa.private_key(e, rsa.EXPONENT_RULES[rule](e, p, q), p, q)


def _in_style(key: RSAPrivateKey, style: int) -> bytes:
    return key.private_bytes(*_STYLES[style], NoEncryption())
