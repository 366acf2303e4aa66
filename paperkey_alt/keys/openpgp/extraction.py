"""
Lean and whole prints of OpenPGP keys: `extract` what goes on paper, and `rebuild` the key from it.

No signature is verified here; what a restored key is held against is its fingerprint, which binds
the public fields, and the payload's digest, which binds the secret ones.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from paperkey_alt.errors import (
    CertificateError,
    DamagedKeyFile,
    NotASecretKey,
    TooLarge,
    UnprotectedSecret,
    UnsupportedKey,
)
from paperkey_alt.format.payload import Compact, Lean, SecretPart, Whole
from paperkey_alt.keys.openpgp import (
    choice,
    key_file,
    key_packet,
    packets,
    signature,
    witnesses,
)
from paperkey_alt.keys.openpgp.key import Key
from paperkey_alt.keys.openpgp.key_packet import Secrecy
from paperkey_alt.keys.openpgp.rfc9580 import (
    KEY_TYPES,
    SECRET_KEY_TYPES,
    TO_PUBLIC,
    TO_SECRET,
    PacketType,
    SignatureType,
)
from paperkey_alt.keys.secret import OPENPGP_PRINTS, Extract, Lack, Rebuilt

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator

    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.packets import Packet

MOST_PARTS = 0xFF
LONGEST_SECRET = 0xFFFF


def extract(key: Key, *, whole: bool = False, allow_unprotected: bool = False) -> Extract:
    """
    Return what of *key* goes on paper: its secret parts, or with *whole* all packets but other
    people's.

    Raises NotASecretKey where the file has no secret, UnsupportedKey for versions other than 4 and
    6, UnprotectedSecret where a secret has no passphrase over it and *allow_unprotected* is not
    set, DamagedKeyFile where no signature agrees with a key packet or a lean payload would have two
    parts of one fingerprint, TooLarge for what no lean payload holds.
    """
    _require_secret(key)
    _require_supported(key)
    if not allow_unprotected:
        _require_protected(key)
    witnesses.require_agreement(key)
    left_out = [
        _WITHOUT_SECRET[packet.secrecy].format(packet.title)
        for packet in key.key_packets
        if not packet.has_secret
    ]
    payload: Lean | Whole
    if whole:
        own, others = _own_packets(key)
        payload = Whole(packets.join(own))
        left_out += others
    else:
        payload = Lean(tuple(_secret_parts(key)))
        repeated = _repeated(part.fingerprint for part in payload.parts)
        if repeated:
            raise DamagedKeyFile(
                f"the file has the secret of the key {repeated} twice",
                advice="Export the key anew, or print all of the file with --whole.",
            )
    return as_extract(key, payload, [f"Left out: {what}." for what in left_out])


def as_extract(key: Key, payload: Lean | Whole | Compact, notes: Iterable[str]) -> Extract:
    """Return *payload*, made of *key*, with what its sheets say of the key."""
    return Extract(
        payload,
        OPENPGP_PRINTS[type(payload)],
        next(iter(key.user_ids), None),
        key.fingerprint.hex().upper(),
        key.created,
        key.protected,
        tuple(notes),
        key.expires,
        lacks=tuple(_lack(packet) for packet in key.key_packets if not packet.has_secret),
        is_revocable=not _carries_revocation(key),
    )


def rebuild(payload: Lean | Whole, certificate: Key | None) -> Rebuilt:
    """
    Return the key that *payload* was extracted from.

    A lean payload needs the *certificate*, as it was or newer; a secret key file serves for its
    public fields. Each part goes into the key packet with its fingerprint, everything else of the
    certificate stays as it stands. A whole payload needs none. Raises CertificateError where a part
    finds no packet, for there is no half a key, or two, and where two parts have one fingerprint.
    """
    if isinstance(payload, Whole):
        key = choice.choose(key_file.read(payload.packets), None)
        _require_secret(key)
        return _rebuilt(key, payload.packets, {packet.fingerprint for packet in key.stubs})
    if certificate is None:
        raise CertificateError(
            "the paper carries only what is secret: the public certificate is needed to "
            "rebuild the key"
        )
    repeated = _repeated(part.fingerprint for part in payload.parts)
    if repeated:
        raise CertificateError(
            f"the paper has two secrets of the key {repeated}",
            advice="Ragleaf does not print such sheets. Nothing can be restored from them.",
        )
    secrets = {part.fingerprint: part.secret for part in payload.parts}
    _require_belongs(secrets, certificate)
    key = Key(tuple(_with_secret(packet, secrets) for packet in certificate.packets))
    _require_all(secrets, key, certificate)
    return _rebuilt(key, packets.join(key.packets), secrets)


def rebuild_certificate(data: bytes) -> Rebuilt:
    """Return the certificate whose packets are *data*; raises KeyFileError."""
    key = choice.choose(key_file.read(data), None)
    armored = key_file.write(key, armored=True)
    return Rebuilt(armored, data, f"the certificate of {key.title}", is_certificate=True)


def _rebuilt(key: Key, binary: bytes, printed: Collection[bytes]) -> Rebuilt:
    notes = (
        f"The {packet.title} came back without its secret: {_came_as(packet, printed)}."
        for packet in key.without_secret
    )
    return Rebuilt(key_file.write(key, armored=True), binary, key.title, tuple(notes), key)


def _came_as(packet: KeyPacket, printed: Collection[bytes]) -> str:
    """
    Return what stands in place of a secret; *printed* are the fingerprints of which the paper has a
    part.
    """
    if packet.fingerprint in printed:
        return "the paper has the stub that was in the file, and that came back as it was"
    return (
        "the paper has none of it, so it came back as a public key packet. If your OpenPGP program "
        "refuses the key, give a certificate without it"
    )


# Onto paper.


def _lack(packet: KeyPacket) -> Lack:
    title = "primary key" if packet.is_primary else f"subkey {packet.key_id.hex().upper()}"
    return Lack(title, is_stub=packet.secrecy is Secrecy.STUB)


def _carries_revocation(key: Key) -> bool:
    """Tell whether the file has a revocation that names this key as its issuer; not verified."""
    claims = (
        signature.parse(packet.body) for packet in key.packets if packet.tag == PacketType.SIGNATURE
    )
    return any(
        claim.kind == SignatureType.KEY_REVOCATION and claim.issuers & key.primary.names
        for claim in claims
    )


_WITHOUT_SECRET = {
    Secrecy.STUB: (
        "the secret of the {}: the file has a stub in its place; the secret itself may be on a "
        "card or offline"
    ),
    Secrecy.PUBLIC: "the secret of the {}: the file has only its public part",
}


def _require_secret(key: Key) -> None:
    if key.secret_packets:
        return
    if any(packet.secrecy is Secrecy.STUB for packet in key.key_packets):
        raise NotASecretKey(
            f"the file has stubs in place of every secret of the key {key.title}; the secrets "
            "themselves may be on a card or offline",
            advice=(
                "Give the key file that has the secrets; what is only on a card cannot be printed."
            ),
        )
    raise NotASecretKey(f"the file holds the public certificate of {key.title}, not the secret key")


def _require_supported(key: Key) -> None:
    for packet in key.key_packets:
        if packet.version not in key_packet.SUPPORTED_VERSIONS:
            raise UnsupportedKey(
                f"the {packet.title} is of version {packet.version}; Ragleaf prints keys of "
                "version 4 and 6"
            )


def _require_protected(key: Key) -> None:
    bare = [packet.title for packet in key.secret_packets if packet.secrecy is Secrecy.UNPROTECTED]
    if bare:
        raise UnprotectedSecret(
            f"no passphrase protects the {' and the '.join(bare)}: anyone with the sheet has "
            "the key"
        )


def _secret_parts(key: Key) -> Iterator[SecretPart]:
    """
    Yield the secret parts, each a SecretPart, in the order of the file; stubs too, as they stand:
    no certificate has the serial number of a card.
    """
    printed = [packet for packet in key.key_packets if packet.secret]
    if len(printed) > MOST_PARTS:
        raise TooLarge(f"the key has {len(printed)} secret parts; a sheet set takes {MOST_PARTS}")
    for packet in printed:
        if len(packet.secret) > LONGEST_SECRET:
            raise TooLarge(
                f"the secret of the {packet.title} has {len(packet.secret)} bytes; a sheet set "
                f"takes {LONGEST_SECRET}"
            )
        yield SecretPart(packet.fingerprint, packet.secret)


def _own_packets(key: Key) -> tuple[list[Packet], list[str]]:
    """
    Return the packets that are the key's own, and in words what the others are. A signature that
    names no issuer is kept.
    """
    names = frozenset().union(*(packet.names for packet in key.key_packets))
    own: list[Packet] = []
    others: Counter[str] = Counter()
    is_on_attribute = False
    for packet in key.packets:
        reason = None
        if packet.tag == PacketType.SIGNATURE:
            issuers = signature.parse(packet.body).issuers
            if is_on_attribute:
                reason = "signature on a picture"
            elif issuers and not issuers & names:
                reason = "signature by another key"
        else:
            is_on_attribute = packet.tag == PacketType.USER_ATTRIBUTE
            if packet.tag not in (*KEY_TYPES, PacketType.USER_ID):
                reason = packet.name
        if reason is None:
            own.append(packet)
        else:
            others[reason] += 1
    return own, [f"{count} × {reason}" for reason, count in others.items()]


# And back.


def _repeated(fingerprints: Iterable[bytes]) -> str | None:
    """Return the first of *fingerprints* that is there more than once, in hexadecimal."""
    counts = Counter(fingerprints)
    return next((name.hex().upper() for name, count in counts.items() if count > 1), None)


def _require_belongs(secrets: dict[bytes, bytes], certificate: Key) -> None:
    known = {packet.fingerprint for packet in certificate.key_packets}
    repeated = _repeated(
        packet.fingerprint for packet in certificate.key_packets if packet.fingerprint in secrets
    )
    if repeated:
        raise CertificateError(
            f"the certificate of {certificate.title} has the key {repeated} twice",
            advice="Give a certificate that has each key once.",
        )
    missing = [fingerprint for fingerprint in secrets if fingerprint not in known]
    if len(missing) == len(secrets):
        raise CertificateError(
            f"the paper is for the key {missing[0].hex().upper()}, and the certificate is of "
            f"{certificate.title}"
        )
    if missing:
        raise CertificateError(
            f"the certificate of {certificate.title} lacks what the paper has a secret for: "
            + ", ".join(fingerprint.hex().upper() for fingerprint in missing),
            advice=(
                "Give the certificate as it was when the sheets were printed, or a newer one with "
                "all its subkeys."
            ),
        )


def _require_all(secrets: dict[bytes, bytes], key: Key, certificate: Key) -> None:
    """
    Read the rebuilt key as any program will: the secrets must be in it, each under its fingerprint,
    no others, and one that is no stub.
    """
    carried = {
        packet.fingerprint: packet.secret
        for packet in key.key_packets
        if packet.has_secret or packet.fingerprint in secrets
    }
    if carried != secrets or not key.secret_packets:
        raise CertificateError(
            f"the key packets of the certificate of {certificate.title} and the secrets do not "
            "fit together"
        )


def _with_secret(packet: Packet, secrets: dict[bytes, bytes]) -> Packet:
    """
    Return a key packet with its secret, or public where there is none; any other as it is.

    A stub of the file is on the paper, and comes back as it stood. A key packet for which the paper
    has no part was public in the file, or is of a newer certificate: it is public in the key file
    too (docs/format.md, "Key files"). In a trial with two independent OpenPGP libraries one of them
    refuses such a key.
    """
    if packet.tag not in KEY_TYPES:
        return packet
    key = key_packet.parse(packet)
    secret = secrets.get(key.fingerprint)
    if secret is not None:
        return packets.with_body(
            TO_SECRET[PacketType(packet.tag)], key.public + secret, like=packet
        )
    if packet.tag not in SECRET_KEY_TYPES:
        return packet
    return packets.with_body(TO_PUBLIC[PacketType(packet.tag)], key.public, like=packet)
