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
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from paperkey_alt.errors import DamagedKeyFile, UnsupportedKey, WrongPassphrase
from paperkey_alt.keys.openpgp import aead, rfc9580

if TYPE_CHECKING:
    from collections.abc import Callable

    from cryptography.hazmat.primitives.ciphers import CipherAlgorithm

UNPROTECTED, AEAD, CFB_SHA1, CFB_SUM = 0, 253, 254, 255
SIMPLE, SALTED, ITERATED, ARGON2 = 0, 1, 3, 4
SUM_BYTES, SHA1_BYTES = 2, 20

# RFC 9580 §9.3, table 21: identifier → key bytes, name, constructor.
_CIPHERS: dict[int, tuple[int, str, Callable[[bytes], CipherAlgorithm] | None]] = {
    1: (16, "IDEA", old.IDEA),
    2: (24, "TripleDES", old.TripleDES),
    3: (16, "CAST5", old.CAST5),
    4: (16, "Blowfish", old.Blowfish),
    7: (16, "AES-128", algorithms.AES),
    8: (24, "AES-192", algorithms.AES),
    9: (32, "AES-256", algorithms.AES),
    10: (32, "Twofish", None),
    11: (16, "Camellia-128", old.Camellia),
    12: (24, "Camellia-192", old.Camellia),
    13: (32, "Camellia-256", old.Camellia),
}
_MD5 = 1
_ARGON2_MOST_MEMORY_LOG = 21  # 2 GiB: the first recommended option of RFC 9106 §4


@dataclass(frozen=True)
class PublicPart:
    """
    What a secret-key packet shows of itself: its packet type (5 or 7), its version, and its body's
    public fields as they stand.
    """

    packet_type: int
    version: int
    fields: bytes


@dataclass(frozen=True)
class Protection:
    """
    How a secret part is protected. *prefix* is everything before the encrypted bytes, as it stands;
    the other fields say what it means. *usage* 0 has neither cipher nor specifier; a cipher
    identifier as usage is the legacy form with an MD5 key.
    """

    prefix: bytes
    usage: int
    cipher: int = 0
    aead: int = 0
    specifier: bytes = b""
    iv: bytes = b""


def parse(secret: bytes, version: int) -> Protection:
    """
    Return the protection that stands at the start of a secret part; raises DamagedKeyFile or
    UnsupportedKey.
    """
    field = _Fields(secret)
    usage = field.byte()
    if usage == UNPROTECTED:
        return Protection(secret[:1], usage)
    parameters = field.byte() if version == 6 else None
    start = field.at
    named = usage in (AEAD, CFB_SHA1, CFB_SUM)
    cipher = field.byte() if named else usage
    mode = field.byte() if usage == AEAD else 0
    counted = field.byte() if version == 6 and usage in (AEAD, CFB_SHA1) else None
    specifier = field.take(_specifier_bytes(field.peek())) if named else bytes([SIMPLE, _MD5])
    iv = field.take(_nonce_bytes(mode) if usage == AEAD else _block_bytes(cipher))
    if counted not in (None, len(specifier)) or parameters not in (None, field.at - start):
        raise DamagedKeyFile(
            "the protection parameters of the secret part do not have the length stated for them"
        )
    return Protection(secret[: field.at], usage, cipher, mode, specifier, iv)


def unlock(secret: bytes, public: PublicPart, passphrase: bytes) -> bytes:
    """
    Return the secret fields in the clear, without checksum.

    Raises WrongPassphrase where the check at the end fails (AEAD tag, SHA-1), also for the two-byte
    sum, which one wrong passphrase in 65,536 passes; DamagedKeyFile where an unprotected secret
    disagrees with its sum.
    """
    protection = parse(secret, public.version)
    rest = secret[len(protection.prefix) :]
    if protection.usage == UNPROTECTED:
        return (
            rest
            if public.version == 6
            else _without_sum(rest, DamagedKeyFile("the secret part and its checksum disagree"))
        )
    wrong = WrongPassphrase("the passphrase does not open this secret, or its bytes are damaged")
    key = _key(protection.specifier, passphrase, _cipher(protection.cipher)[0])
    if protection.usage == AEAD:
        try:
            return _sealer(protection, public, key).decrypt(
                protection.iv, rest, _associated(public)
            )
        except InvalidTag:
            raise wrong from None
    clear = _cfb(protection, key).decryptor().update(rest)
    if protection.usage == CFB_SHA1:
        fields, digest = clear[:-SHA1_BYTES], clear[-SHA1_BYTES:]
        if not hmac.compare_digest(_sha1(fields), digest):
            raise wrong
        return fields
    return _without_sum(clear, wrong)


def lock(fields: bytes, protection: Protection, public: PublicPart, passphrase: bytes) -> bytes:
    """
    Return the secret part that `unlock` would take *fields* from: the same bytes, where
    *protection* is that secret part's.
    """
    if protection.usage == UNPROTECTED:
        return protection.prefix + fields + (b"" if public.version == 6 else _sum(fields))
    key = _key(protection.specifier, passphrase, _cipher(protection.cipher)[0])
    if protection.usage == AEAD:
        return protection.prefix + _sealer(protection, public, key).encrypt(
            protection.iv, fields, _associated(public)
        )
    check = _sha1(fields) if protection.usage == CFB_SHA1 else _sum(fields)
    return protection.prefix + _cfb(protection, key).encryptor().update(fields + check)


class _Fields:
    """Takes one field after another from bytes that may end too soon."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def take(self, length: int) -> bytes:
        if self.at + length > len(self.data):
            raise DamagedKeyFile("the secret part ends inside its protection parameters")
        self.at += length
        return self.data[self.at - length : self.at]

    def byte(self) -> int:
        return self.take(1)[0]

    def peek(self) -> int:
        return self.byte() if self.at >= len(self.data) else self.data[self.at]


def _specifier_bytes(kind: int) -> int:
    if kind not in rfc9580.SPECIFIER_BYTES:
        raise UnsupportedKey(
            f"the secret is protected by a string-to-key method ({kind}) that is not in RFC 9580"
        )
    return rfc9580.SPECIFIER_BYTES[kind]


def _nonce_bytes(mode: int) -> int:
    if mode not in rfc9580.NONCE_BYTES:
        raise UnsupportedKey(
            f"the secret is protected by an AEAD mode ({mode}) that is not in RFC 9580"
        )
    return rfc9580.NONCE_BYTES[mode]


def _block_bytes(cipher: int) -> int:
    _cipher(cipher)
    return rfc9580.BLOCK_BYTES[cipher]


def _cipher(identifier: int) -> tuple[int, str, Callable[[bytes], CipherAlgorithm] | None]:
    if identifier not in _CIPHERS:
        raise UnsupportedKey(
            f"the secret is protected by a cipher ({identifier}) that is not in RFC 9580"
        )
    return _CIPHERS[identifier]


def _cfb(protection: Protection, key: bytes) -> Cipher[old_modes.CFB]:
    _, name, constructor = _cipher(protection.cipher)
    absent = UnsupportedKey(f"the secret is protected by {name}, which is not available here")
    if constructor is None:
        raise absent
    try:
        return Cipher(constructor(key), old_modes.CFB(protection.iv))
    except UnsupportedAlgorithm:
        raise absent from None


def _key(specifier: bytes, passphrase: bytes, length: int) -> bytes:
    """
    Return the key of *length* bytes that a string-to-key specifier makes of *passphrase* (RFC 9580
    §3.7.1).
    """
    kind = specifier[0]
    if kind == ARGON2:
        return _argon2_key(specifier, passphrase, length)
    name = rfc9580.HASH_NAMES.get(specifier[1])
    if name is None:
        raise UnsupportedKey(
            f"the string-to-key method uses a hash ({specifier[1]}) that is not in RFC 9580"
        )
    text = specifier[2:10] + passphrase
    octets = max(_count(specifier[10]), len(text)) if kind == ITERATED else len(text)
    key, zeros = b"", 0
    while len(key) < length:
        key += _hash_octets(name, bytes(zeros), text, octets)
        zeros += 1
    return key[:length]


def _hash_octets(name: str, lead: bytes, text: bytes, octets: int) -> bytes:
    try:
        digest = hashlib.new(name, lead, usedforsecurity=False)
    except ValueError:
        raise UnsupportedKey(
            f"the string-to-key method uses {name}, which is not available here"
        ) from None
    # The repeated text is fed in pieces of some size: bytewise would take minutes, in one piece it
    # would take 65 MB.
    whole = text * max(1, 8192 // max(1, len(text)))
    full, rest = divmod(octets, len(whole)) if whole else (0, 0)
    for _ in range(full):
        digest.update(whole)
    digest.update(whole[:rest])
    return digest.digest()


def _count(coded: int) -> int:
    """RFC 9580 §3.7.1.3."""
    return (16 + (coded & 15)) << ((coded >> 4) + 6)


def _argon2_key(specifier: bytes, passphrase: bytes, length: int) -> bytes:
    salt, (passes, lanes, memory_log) = specifier[1:17], specifier[17:]
    if (
        not passes
        or not lanes
        or not 3 <= memory_log <= _ARGON2_MOST_MEMORY_LOG
        or 1 << memory_log < 8 * lanes
    ):
        raise UnsupportedKey(
            "the string-to-key method asks for a cost that is impossible or above 2 GiB of memory"
        )
    derive = Argon2id(
        salt=salt, length=length, iterations=passes, lanes=lanes, memory_cost=1 << memory_log
    )
    return derive.derive(passphrase)


def _sealer(protection: Protection, public: PublicPart, key: bytes) -> aead.Mode:
    # RFC 9580 §5.5.3: the key proper is derived with HKDF, bound to the packet and the algorithms.
    info = bytes([0xC0 | public.packet_type, public.version, protection.cipher, protection.aead])
    derived = HKDF(algorithm=SHA256(), length=len(key), salt=None, info=info).derive(key)
    if protection.cipher not in (7, 8, 9):
        raise UnsupportedKey("the secret is protected by an AEAD mode with a cipher other than AES")
    return aead.mode(protection.aead, derived)


def _associated(public: PublicPart) -> bytes:
    return bytes([0xC0 | public.packet_type]) + public.fields


def _without_sum(data: bytes, error: WrongPassphrase | DamagedKeyFile) -> bytes:
    fields, check = data[:-SUM_BYTES], data[-SUM_BYTES:]
    if _sum(fields) != check:
        raise error
    return fields


def _sum(fields: bytes) -> bytes:
    return (sum(fields) & 0xFFFF).to_bytes(SUM_BYTES, "big")


def _sha1(fields: bytes) -> bytes:
    return hashlib.sha1(fields, usedforsecurity=False).digest()
