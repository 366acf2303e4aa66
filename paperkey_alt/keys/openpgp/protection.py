"""
The passphrase over the secret part of an OpenPGP secret-key packet: `unlock` and `lock`.

`lock` with the parameters that `unlock` met gives the identical bytes: salts, counts and IVs are
kept (RFC 9580 §3.7, §5.5.3).
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cryptography.exceptions import InvalidTag, UnsupportedAlgorithm
from cryptography.hazmat.decrepit.ciphers import algorithms as old
from cryptography.hazmat.decrepit.ciphers import modes as old_modes
from cryptography.hazmat.primitives import ciphers
from cryptography.hazmat.primitives.ciphers import algorithms
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey, WrongPassphrase
from paperkey_alt.format.buffer import Buffer, Truncated, push_number
from paperkey_alt.keys.openpgp import aead, s2k
from paperkey_alt.keys.openpgp.packets import Malformed, first_octet
from paperkey_alt.keys.openpgp.rfc9580 import (
    AEAD_MODES,
    CIPHERS,
    HASHES,
    SUM_BYTES,
    Cipher,
    S2KType,
    S2KUsage,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from cryptography.hazmat.primitives.ciphers import CipherAlgorithm

    from paperkey_alt.keys.openpgp.s2k import Protection, Specifier

_CONSTRUCTORS: dict[Cipher, Callable[[bytes], CipherAlgorithm]] = {
    Cipher.IDEA: old.IDEA,
    Cipher.TRIPLE_DES: old.TripleDES,
    Cipher.CAST5: old.CAST5,
    Cipher.BLOWFISH: old.Blowfish,
    Cipher.AES_128: algorithms.AES,
    Cipher.AES_192: algorithms.AES,
    Cipher.AES_256: algorithms.AES,
    Cipher.CAMELLIA_128: old.Camellia,
    Cipher.CAMELLIA_192: old.Camellia,
    Cipher.CAMELLIA_256: old.Camellia,
}
_AES = (Cipher.AES_128, Cipher.AES_192, Cipher.AES_256)
_ARGON2_MOST_MEMORY_LOG = 21  # 2 GiB: the first recommended option of RFC 9106 §4
_ARGON2_MOST_KIB = 4 << 20  # in all passes together, as of a seal: measured, 7 s of CPU
_HASHED_AT_ONCE = 8192  # bytes: bytewise would take minutes, in one piece it would take 65 MB


@dataclass(frozen=True)
class PublicPart:
    """
    What a secret-key packet shows of itself: its packet type (5 or 7), its version, and its body's
    public fields as they stand.
    """

    packet_type: int
    version: int
    fields: bytes


def parse(secret: bytes, version: int) -> Protection:
    """
    Return the protection that stands at the start of a secret part, every number of which is known
    here; raises DamagedKeyFile or UnsupportedKey.
    """
    try:
        protection = s2k.pull(Buffer(secret), version)
    except Truncated:
        raise DamagedKeyFile("the secret part ends inside its protection parameters") from None
    except Malformed:
        raise DamagedKeyFile(
            "the protection parameters of the secret part do not have the length stated for them"
        ) from None
    specifier = protection.specifier
    if specifier and not specifier.is_known:
        raise UnsupportedKey(
            f"the secret is protected by a string-to-key method ({specifier.kind}) that is not in "
            "RFC 9580"
        )
    if protection.usage == S2KUsage.AEAD and protection.aead not in AEAD_MODES:
        raise UnsupportedKey(
            f"the secret is protected by an AEAD mode ({protection.aead}) that is not in RFC 9580"
        )
    if _is_checked_plaintext(protection):
        return protection
    if specifier and protection.cipher not in CIPHERS:
        raise UnsupportedKey(
            f"the secret is protected by a cipher ({protection.cipher}) that is not in RFC 9580"
        )
    return protection


def unlock(secret: bytes, public: PublicPart, passphrase: bytes) -> bytes:
    """
    Return the secret fields in the clear, without checksum.

    Raises WrongPassphrase where the check at the end fails (AEAD tag, SHA-1), also for the two-byte
    sum, which one wrong passphrase in 65,536 passes; DamagedKeyFile where an unprotected secret
    disagrees with its sum.
    """
    protection = parse(secret, public.version)
    rest = secret[len(protection.prefix) :]
    if protection.specifier is None:
        if public.version == 6:
            return rest
        return _without_sum(rest, DamagedKeyFile("the secret part and its checksum disagree"))
    if _is_checked_plaintext(protection):
        fields, check = rest[: -protection.check_bytes], rest[-protection.check_bytes :]
        if check != _check(protection, fields):
            raise DamagedKeyFile(
                "the secret part, which no cipher protects, and its check disagree"
            )
        return fields
    wrong = WrongPassphrase("the passphrase does not open this secret, or its bytes are damaged")
    key = _derive_key(protection.specifier, passphrase, CIPHERS[protection.cipher].key_bytes)
    if protection.usage == S2KUsage.AEAD:
        try:
            return _aead(protection, public, key).decrypt(protection.iv, rest, _associated(public))
        except InvalidTag:
            raise wrong from None
    clear = _cfb(protection, key).decryptor().update(rest)
    if protection.usage == S2KUsage.CFB_SHA1:
        fields, digest = clear[: -protection.check_bytes], clear[-protection.check_bytes :]
        if not hmac.compare_digest(_sha1(fields), digest):
            raise wrong
        return fields
    return _without_sum(clear, wrong)


def lock(fields: bytes, protection: Protection, public: PublicPart, passphrase: bytes) -> bytes:
    """
    Return the secret part that `unlock` would take *fields* from: the same bytes, where
    *protection* is that secret part's.
    """
    if protection.specifier is None:
        return protection.prefix + fields + (b"" if public.version == 6 else _sum(fields))
    if _is_checked_plaintext(protection):
        return protection.prefix + fields + _check(protection, fields)
    key = _derive_key(protection.specifier, passphrase, CIPHERS[protection.cipher].key_bytes)
    if protection.usage == S2KUsage.AEAD:
        return protection.prefix + _aead(protection, public, key).encrypt(
            protection.iv, fields, _associated(public)
        )
    check = _check(protection, fields)
    return protection.prefix + _cfb(protection, key).encryptor().update(fields + check)


def _is_checked_plaintext(protection: Protection) -> bool:
    """
    Whether it is a secret in the clear behind a specifier that protects nothing, with the check of
    its usage octet (§9.3: cipher 0 is plaintext).
    """
    checked = (S2KUsage.CFB_SHA1, S2KUsage.CFB_SUM)
    return protection.usage in checked and protection.is_plaintext


def _check(protection: Protection, fields: bytes) -> bytes:
    return _sha1(fields) if protection.usage == S2KUsage.CFB_SHA1 else _sum(fields)


def _cfb(protection: Protection, key: bytes) -> ciphers.Cipher[old_modes.CFB]:
    cipher = CIPHERS[protection.cipher]
    absent = UnsupportedKey(
        f"the secret is protected by {cipher.title}, which is not available here"
    )
    if cipher not in _CONSTRUCTORS:
        raise absent
    try:
        return ciphers.Cipher(_CONSTRUCTORS[cipher](key), old_modes.CFB(protection.iv))
    except UnsupportedAlgorithm:
        raise absent from None


def _derive_key(specifier: Specifier, passphrase: bytes, length: int) -> bytes:
    """
    Return the key of *length* bytes that a string-to-key specifier makes of *passphrase* (RFC 9580
    §3.7.1).
    """
    if specifier.kind == S2KType.ARGON2:
        return _derive_argon2_key(specifier, passphrase, length)
    if specifier.hash not in HASHES:
        raise UnsupportedKey(
            f"the string-to-key method uses a hash ({specifier.hash}) that is not in RFC 9580"
        )
    text = specifier.salt + passphrase
    octets = max(specifier.count, len(text))
    key, zeros = b"", 0
    while len(key) < length:
        key += _hash_octets(HASHES[specifier.hash].title, bytes(zeros), text, octets)
        zeros += 1
    return key[:length]


def _hash_octets(name: str, lead: bytes, text: bytes, octets: int) -> bytes:
    """Return the digest of *lead* and of as many *octets* of repeated *text*."""
    try:
        digest = hashlib.new(name, lead, usedforsecurity=False)
    except ValueError:
        raise UnsupportedKey(
            f"the string-to-key method uses {name}, which is not available here"
        ) from None
    repeated = text * max(1, _HASHED_AT_ONCE // max(1, len(text)))
    full, rest = divmod(octets, len(repeated)) if repeated else (0, 0)
    for _ in range(full):
        digest.update(repeated)
    digest.update(repeated[:rest])
    return digest.digest()


def _derive_argon2_key(specifier: Specifier, passphrase: bytes, length: int) -> bytes:
    """RFC 9580 §3.7.1.4."""
    passes, lanes, memory_log = specifier.argon2_cost
    if (
        not passes
        or not lanes
        or not 3 <= memory_log <= _ARGON2_MOST_MEMORY_LOG
        or 1 << memory_log < 8 * lanes
    ):
        raise UnsupportedKey(
            "the string-to-key method asks for a cost that is impossible or above 2 GiB of memory"
        )
    if passes << memory_log > _ARGON2_MOST_KIB:
        raise UnsupportedKey(
            f"the string-to-key method asks for {passes} passes over {1 << memory_log >> 10} MiB, "
            "and 4 GiB in all passes together are the limit",
            advice="Give the key a new passphrase in your OpenPGP program and export it again.",
        )
    derive = Argon2id(
        salt=specifier.salt,
        length=length,
        iterations=passes,
        lanes=lanes,
        memory_cost=1 << memory_log,
    )
    return derive.derive(passphrase)


def _aead(protection: Protection, public: PublicPart, key: bytes) -> aead.Mode:
    # RFC 9580 §5.5.3: the key proper is derived with HKDF, bound to the packet and the algorithms.
    info = bytes(
        [first_octet(public.packet_type), public.version, protection.cipher, protection.aead]
    )
    derived = HKDF(algorithm=SHA256(), length=len(key), salt=None, info=info).derive(key)
    if protection.cipher not in _AES:
        raise UnsupportedKey("the secret is protected by an AEAD mode with a cipher other than AES")
    return aead.mode(protection.aead, derived)


def _associated(public: PublicPart) -> bytes:
    return bytes([first_octet(public.packet_type)]) + public.fields


def _without_sum(data: bytes, error: WrongPassphrase | DamagedKeyFile) -> bytes:
    fields, check = data[:-SUM_BYTES], data[-SUM_BYTES:]
    if _sum(fields) != check:
        raise error
    return fields


def _sum(fields: bytes) -> bytes:
    return push_number(s2k.checksum(fields), SUM_BYTES)


def _sha1(fields: bytes) -> bytes:
    return hashlib.sha1(fields, usedforsecurity=False).digest()
