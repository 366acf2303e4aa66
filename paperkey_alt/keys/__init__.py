"""
Key files, from their bytes to what is printed and back: `extract` and `rebuild`.

What a file is, what is printed of it and how it comes back is decided here, and told in values:
nothing here opens, prints or prompts. What needs the ciphers loads them when it is called.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from paperkey_alt.errors import NotASecretKey, UnprotectedSecret, UnsupportedKey
from paperkey_alt.format.payload import Certificate, Compact, File, Lean, Revocation, RsaFile, Whole
from paperkey_alt.keys import any_file, pem
from paperkey_alt.keys.openpgp import choice, extraction, key_file, packets
from paperkey_alt.keys.openpgp.key_packet import SUPPORTED_VERSIONS
from paperkey_alt.keys.openpgp.rfc9580 import LAST_INSTANT, SALT_BYTES, RevocationReason
from paperkey_alt.keys.secret import Extract, Form, Lack, Rebuilt, Sort

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.payload import Payload
    from paperkey_alt.keys.openpgp.key import Key

__all__ = [
    "LAST_INSTANT",
    "Extract",
    "Form",
    "Lack",
    "Rebuilt",
    "RevocationReason",
    "Sort",
    "certificate",
    "check_pairs",
    "extract",
    "gives_numbers",
    "is_revoked",
    "needs_certificate",
    "read_revocation",
    "rebuild",
    "revocable",
    "revoke",
    "secret_keys",
    "smallest_certificate",
]


def extract(  # noqa: PLR0913 - each is a wish of its own
    data: bytes,
    name: str,
    *,
    form: Form,
    sealed: bool,
    prove: bool,
    allow_unprotected: bool,
    fingerprint: str | None,
    ask: Ask,
    blind: bytes,
) -> Extract:
    """
    Return what is printed of the key file *data*, and the passphrase of its seal.

    *name* is the file's; *sealed* asks for a seal under a new passphrase, and a compact print has
    one in any case, under the key's own passphrase where it has one; *prove* checks that secrets
    and public keys belong together; *allow_unprotected* lets pass a secret that neither a seal nor
    a passphrase of its own is over; *fingerprint* names one key of several, hexadecimal. *ask* is
    called for the passphrases of the key where a form or *prove* needs them, and for a new one for
    the seal. *blind* is 16 random bytes, for what is carried as a file. Raises KeyFileError,
    WrongPassphrase, TooLarge.
    """
    is_sealed = sealed or form is Form.COMPACT
    allowed = allow_unprotected or is_sealed
    opener = ask if prove or form is Form.COMPACT else None
    if form is Form.PLAIN:
        extracted = any_file.extract(data, name, allow_unprotected=allowed, blind=blind)
    elif pem.recognises(data):
        from paperkey_alt.keys import private_key  # noqa: PLC0415 - the ciphers take long to load

        extracted = private_key.extract(
            data,
            name,
            compact=form is Form.COMPACT,
            allow_unprotected=allowed,
            ask=opener,
            blind=blind,
        )
    else:
        key = certificate(data, fingerprint)
        extracted = _extract_openpgp(
            key, form, sealed=sealed, prove=prove, allow_unprotected=allowed, ask=ask
        )
    if not is_sealed or extracted.seal_passphrase is not None:
        return extracted
    return replace(extracted, seal_passphrase=ask.new("seal"))


def _extract_openpgp(  # noqa: PLR0913 - as `extract`
    key: Key, form: Form, *, sealed: bool, prove: bool, allow_unprotected: bool, ask: Ask
) -> Extract:
    extracted = extraction.extract(
        key, whole=form is Form.WHOLE, allow_unprotected=allow_unprotected
    )
    from paperkey_alt.keys.openpgp import strength  # noqa: PLC0415 - the ciphers take long to load

    empty = strength.opened_by_empty_passphrase(key)
    if empty and not allow_unprotected:
        raise UnprotectedSecret(
            f"an empty passphrase opens the {' and the '.join(packet.title for packet in empty)}: "
            "anyone with the sheet has the key"
        )
    is_protected = key.protected and not empty
    extracted = replace(
        extracted,
        protected=is_protected,
        partly_protected=not is_protected and len(key.protected_packets) > len(empty),
        cautions=strength.cautions(key),
    )
    if form is not Form.COMPACT and not prove:
        return extracted
    from paperkey_alt.keys.openpgp import compact, unlocked  # noqa: PLC0415 - as above

    secrets = unlocked.unlock(key, ask)
    unchecked = (f"Not proven: {what}." for what in unlocked.check_pairs(secrets))
    notes = (*extracted.notes, *unchecked)
    if form is not Form.COMPACT:
        return replace(extracted, notes=notes)
    # An empty passphrase is none: a seal needs another one.
    own = next((secret.passphrase for secret in secrets if secret.passphrase), None)
    passphrase = ask.new("seal") if sealed or own is None else own
    reduced, kept = compact.compact(secrets, passphrase, key.stubs)
    return replace(
        extraction.as_extract(key, reduced, (*notes, *kept)),
        seal_passphrase=passphrase,
        seal_is_own=own is not None and passphrase == own,
        protected=extracted.protected,
        partly_protected=extracted.partly_protected,
        cautions=extracted.cautions,
    )


def rebuild(
    payload: Payload, *, certificate: Key | None, passphrase: str | None, ask: Ask
) -> Rebuilt:
    """
    Return the key file or other file that *payload* was made from.

    *certificate* is needed for lean and compact payloads of OpenPGP keys; *passphrase* is that of
    the seal, None where none was over it; *ask* is called where a secret of a compact payload had
    another one. Raises CertificateError, KeyPairMismatch, DigestMismatch, NotARevocation.
    """
    match payload:
        case File():
            return any_file.rebuild(payload)
        case Lean() | Whole():
            return extraction.rebuild(payload, certificate)
        case Certificate(packets):
            return extraction.rebuild_certificate(packets)
    # The ciphers take longer to load than most sheets to restore, and those above need none.
    from paperkey_alt.keys import private_key  # noqa: PLC0415
    from paperkey_alt.keys.openpgp import compact, revocation  # noqa: PLC0415

    match payload:
        case RsaFile():
            return private_key.rebuild(payload)
        case Revocation(fingerprint, packet):
            title = f"the revocation of {fingerprint.hex().upper()}"
            return Rebuilt(revocation.write(packet), packet, title, is_revocation=True)
        case Compact():
            lean = compact.restore(payload, certificate, passphrase or "", ask)
            return extraction.rebuild(lean, certificate)


def needs_certificate(payload: Payload) -> bool:
    """Tell whether `rebuild` takes the public certificate for *payload*."""
    return isinstance(payload, Lean | Compact)


def gives_numbers(payload: Payload) -> bool:
    """Tell whether the stand-alone program gives only numbers of *payload*, and no key file."""
    return isinstance(payload, Compact | RsaFile)


def certificate(data: bytes, fingerprint: str | None) -> Key:
    """
    Return the OpenPGP key in a key file, public or secret, the one that *fingerprint* names where
    there are several; raises KeyFileError.
    """
    if pem.recognises(data) and pem.is_text(data):
        raise NotASecretKey(
            f"the file holds a private key of another kind ({pem.kind(data)}), and no OpenPGP key",
            advice="Give a file with the OpenPGP key.",
        )
    return choice.choose(key_file.read(data), fingerprint)


def secret_keys(data: bytes) -> tuple[Key, ...]:
    """
    Return the secret keys in a key file, each once; raises KeyFileError, also where it has none.
    """
    return choice.secret(key_file.read(data))


def smallest_certificate(key: Key) -> tuple[Certificate, tuple[str, ...]]:
    """
    Return the smallest certificate with which the secrets of *key* are restored, for paper, and in
    a sentence each what of the key is not in it.
    """
    from paperkey_alt.keys.openpgp import certificate as certificates  # noqa: PLC0415 - seldom needed

    smallest = certificates.smallest(key)
    return Certificate(packets.join(smallest.packets)), smallest.notes


def is_revoked(key: Key) -> bool:
    """Tell whether the file of *key* has a revocation of it that the key itself made."""
    from paperkey_alt.keys.openpgp import certificate as certificates  # noqa: PLC0415 - seldom needed

    return certificates.is_revoked(key)


def check_pairs(rebuilt: Rebuilt, ask: Ask, known: Iterable[str] = ()) -> tuple[str, ...]:
    """
    Check that each secret of *rebuilt* belongs to its public key; return in words those for which
    that cannot be told.

    *known* passphrases are tried before *ask* is called for another. Raises KeyPairMismatch,
    DamagedKeyFile, UnsupportedKey, WrongPassphrase.
    """
    if rebuilt.is_certificate:
        return ("a public certificate has no secret",)
    if rebuilt.is_revocation:
        return ("a revocation has no secret; ragleaf drill verifies it with its key",)
    if rebuilt.key is not None:
        from paperkey_alt.keys.openpgp import unlocked  # noqa: PLC0415 - the ciphers take long to load

        return unlocked.check_pairs(unlocked.unlock(rebuilt.key, ask, known))
    if pem.recognises(rebuilt.data):
        from paperkey_alt.keys import private_key  # noqa: PLC0415 - the ciphers take long to load

        private_key.open_(rebuilt.data, ask, known)
        return ()
    return ("a file that was printed with --plain has no public key to compare with",)


def revocable(data: bytes, fingerprint: str | None) -> Key:
    """As `certificate`; raises UnsupportedKey for a version for which no revocation is made."""
    key = certificate(data, fingerprint)
    if key.version not in SUPPORTED_VERSIONS:
        raise UnsupportedKey(
            f"the key is of version {key.version}; Ragleaf revokes keys of versions 4 and 6 only",
            advice=_REVOKE_ELSEWHERE,
        )
    return key


_REVOKE_ELSEWHERE = (
    "Make the revocation certificate in your OpenPGP program; ragleaf backup --plain prints its "
    "file as it is."
)


def revoke(  # noqa: PLR0913 - each is a wish of its own
    key: Key,
    reason: RevocationReason,
    comment: str,
    *,
    now: datetime,
    random_bytes: Callable[[int], bytes],
    ask: Ask,
    known: Iterable[str] = (),
) -> Revocation:
    """
    Return a revocation that *key* makes *now*; *comment* is for those who read it.

    *random_bytes* returns as many random bytes as it is told; *ask* is called for the passphrase of
    the primary key where no *known* one opens it. Raises NotASecretKey, UnsupportedKey,
    WrongPassphrase.
    """
    from paperkey_alt.keys.openpgp import revocation, unlocked  # noqa: PLC0415 - the ciphers take long to load

    primary = unlocked.unlock_primary(key, ask, known)
    seconds, salt = int(now.timestamp()), random_bytes(SALT_BYTES)
    made = revocation.make(primary, reason, comment, seconds, salt)
    # What is printed was read and verified as any other revocation is.
    return read_revocation(revocation.write(made), key)


def read_revocation(data: bytes, key: Key) -> Revocation:
    """
    Return the revocation in a file, armored or binary; raises NotARevocation where *key* did not
    make it, DamagedKeyFile.
    """
    from paperkey_alt.keys.openpgp import revocation  # noqa: PLC0415 - the ciphers take long to load

    return Revocation(key.fingerprint, revocation.read(data, key.primary))
