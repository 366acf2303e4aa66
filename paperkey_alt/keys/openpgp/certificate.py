"""
The smallest certificate with which a key is restored, and which an OpenPGP program imports:
`smallest`; and whether the key is revoked by its own word: `is_revoked`.

It is a transferable public key (RFC 9580 §10.1) with what the key itself says now, and nothing that
others added: the primary key; its direct-key signature; each user ID that it stands by, with the
signature over it; each subkey, with the signature that binds it. Of several signatures over one
thing the newest counts (§5.2.3.10), and the newest alone is kept.

Anyone can add packets to a certificate, and name any key as the issuer. So a signature is kept only
where the primary key verifies it: a forged one, however new, never takes the place of a true one.
Where the key's algorithm is not known here, all signatures that name it and agree with the two
octets of their digest are kept, for which of them is true cannot be told.

What the key revoked is told, or not there at all:

- a revocation of the key, or of a subkey, is kept: without it the paper would call alive what the
  owner ended. A revoked subkey stays too, for its secret is on the sheets and opens old messages;
- a user ID that the key revoked is left out, and its revocation with it: the certificate then says
  nothing of that name. Only where no other is left it stays, with its revocation, for most programs
  import no key without a user ID;
- all revocations of what is kept are kept, for whether a later signature takes one back depends on
  its reason (§5.2.3.31), and programs differ in it.

A signature that itself expires (§5.2.3.18) will one day not count, and then the newest of the
others does: that one is kept as well.

Revocations by another key (§5.2.3.23) are left out: that key would be needed to verify them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from paperkey_alt.keys.openpgp import key_packet, packets, signature
from paperkey_alt.keys.openpgp.rfc9580 import (
    CERTIFICATIONS,
    KEY_TYPES,
    TO_PUBLIC,
    PacketType,
    SignatureType,
    SubpacketType,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.packets import Packet


@dataclass(frozen=True)
class Smallest:
    """A certificate as *packets*, and in *notes*, a sentence each, what of the key is not in it."""

    packets: tuple[Packet, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Own:
    """
    A signature that the key made, as far as that can be told: its *packet*, of unsigned subpackets
    only those that are of use, and what it says. *order* is its place in the file.
    """

    packet: Packet
    order: int
    kind: int
    created: int
    is_temporary: bool
    is_verified: bool


@dataclass
class _Section:
    """A packet that signatures are over, and those of them that the key made."""

    packet: Packet
    over: bytes
    subkey: KeyPacket | None = None
    own: dict[bytes, _Own] = field(default_factory=dict)

    @property
    def is_name(self) -> bool:
        """Whether the packet is a user ID."""
        return self.packet.tag == PacketType.USER_ID


def smallest(key: Key) -> Smallest:
    """Return the smallest certificate of *key*, whose secrets it leaves out."""
    sorter = _Sorter(key)
    certified = [section for section in sorter.names if _current(section, CERTIFICATIONS)]
    live = [section for section in certified if not _is_revoked(section)] or certified
    bound = [section for section in sorter.subkeys if _current(section, _BINDINGS)]
    needed = [
        section
        for section in sorter.subkeys
        if section in bound or (section.subkey and section.subkey.secret)
    ]
    kept = {
        sorter.primary.over: _kept(sorter.primary, (*_DIRECT, *_KEY_REVOCATIONS)),
        **{name.over: _kept(name, (*CERTIFICATIONS, *_NAME_REVOCATIONS)) for name in live},
        **{section.over: _kept(section, (*_BINDINGS, *_SUBKEY_REVOCATIONS)) for section in needed},
    }
    sections = [sorter.primary, *live, *needed]
    out: list[Packet] = []
    for section in sections:
        packet = key.primary if section is sorter.primary else section.subkey
        out.append(section.packet if packet is None else _public(packet))
        out += [own.packet for own in kept[section.over]]
    left_out = sorter.left_out + Counter(
        {
            "user ID that the key did not sign": len(sorter.names) - len(certified),
            "user ID that the key revoked": len(certified) - len(live),
            "subkey that the key did not sign": len(sorter.subkeys) - len(needed),
            "signature of the key's own that a newer one replaces": sum(
                len(section.own) - len(kept[section.over]) for section in sections
            ),
        }
    )
    signatures = [own for section in sections for own in kept[section.over]]
    unbound = [section.subkey for section in needed if section.subkey and section not in bound]
    return Smallest(tuple(out), tuple(_notes(key, left_out, unbound, signatures)))


def _notes(
    key: Key, left_out: Counter[str], unbound: Iterable[KeyPacket], signatures: Sequence[_Own]
) -> Iterator[str]:
    """
    Yield what there is to say of a certificate: what was *left_out*, which of its subkeys no
    signature binds, and whether its *signatures* were verified.
    """
    counts = [f"{count} × {what}" for what, count in left_out.items()]
    if counts:
        yield f"Left out of the certificate: {', '.join(counts)}."
    for subkey in unbound:
        yield _UNBOUND.format(subkey.title)
    if not signatures:
        yield _UNSIGNED
    elif not all(own.is_verified for own in signatures):
        yield _UNVERIFIED.format(key.primary.algorithm)


def is_revoked(key: Key) -> bool:
    """Tell whether the file of *key* has a revocation of it that the key itself made."""
    return any(own.is_verified for own in _chosen(_Sorter(key).primary, _KEY_REVOCATIONS))


_UNBOUND = (
    "The {} is in the certificate without a signature that binds it: the file has none that this "
    "key made. OpenPGP programs may pass over it."
)
_UNSIGNED = (
    "The certificate has no signature: the file has none that this key made. OpenPGP programs may "
    "not import it; what is restored with it has every secret that is printed."
)
_UNVERIFIED = (
    "The signatures in the certificate were not verified: Ragleaf cannot do that for {}. All that "
    "name this key as their issuer are kept."
)
_DIRECT = (SignatureType.DIRECT_KEY,)
_BINDINGS = (SignatureType.SUBKEY_BINDING,)
_KEY_REVOCATIONS = (SignatureType.KEY_REVOCATION,)
_NAME_REVOCATIONS = (SignatureType.CERTIFICATION_REVOCATION,)
_SUBKEY_REVOCATIONS = (SignatureType.SUBKEY_REVOCATION,)
_REVOCATIONS = (*_KEY_REVOCATIONS, *_NAME_REVOCATIONS, *_SUBKEY_REVOCATIONS)
_OVER_PRIMARY = (SignatureType.DIRECT_KEY, SignatureType.KEY_REVOCATION)
_OVER_NAMES = (*CERTIFICATIONS, SignatureType.CERTIFICATION_REVOCATION)
_OVER_SUBKEYS = (SignatureType.SUBKEY_BINDING, SignatureType.SUBKEY_REVOCATION)


class _Sorter:
    """
    Sorts the packets of a key: the primary key, the user IDs and the subkeys, each once and with
    the signatures over it that the key made; and counts what is *left_out*.
    """

    def __init__(self, key: Key) -> None:
        self.key = key.primary
        self.left_out: Counter[str] = Counter()
        self.primary = _Section(self.key.packet, key_packet.framed(self.key.public))
        self._found = {self.primary.over: self.primary}
        self._current: _Section | None = self.primary
        key_packets = {known.packet: known for known in key.key_packets}
        for order, packet in enumerate(key.packets):
            if packet.tag in KEY_TYPES:
                self._begin_key(key_packets[packet])
            elif packet.tag == PacketType.USER_ID:
                over = self.primary.over + signature.framed_user_id(packet.body)
                self._current = self._found.setdefault(over, _Section(packet, over))
            elif packet.tag == PacketType.SIGNATURE:
                self._take(packet, order)
            elif packet.tag != PacketType.TRUST:
                self._current = None
                self.left_out[packet.name] += 1
        self.names = [section for section in self._found.values() if section.is_name]
        self.subkeys = [section for section in self._found.values() if section.subkey]

    def _begin_key(self, begun: KeyPacket) -> None:
        if begun is self.key:
            self._current = self.primary
            return
        over = self.primary.over + key_packet.framed(begun.public)
        self._current = self._found.setdefault(over, _Section(begun.packet, over, begun))
        if begun.secret:
            self._current.subkey = begun  # of a public and a secret copy the secret one

    def _take(self, packet: Packet, order: int) -> None:
        """Put the signature in *packet* where it belongs, or count it."""
        claims = signature.parse(packet.body)
        section = self.primary if claims.kind in _OVER_PRIMARY else self._current
        if claims.issuers and not claims.issuers & self.key.names:
            self.left_out["signature by another key"] += 1
            return
        if section is None or claims.kind not in self._kinds(section):
            self.left_out["signature of no use here"] += 1
            return
        verified = signature.is_made_by(packet.body, self.key, section.over)
        if verified is None and not claims.issuers:
            verified = False
        if verified is False:
            self.left_out["signature that the key did not make"] += 1
            return
        made = signature.fields(packet.body)
        cleaned = _cleaned(packet, self.key, section) if verified else packet
        own = _Own(
            cleaned, order, claims.kind or 0, claims.created, claims.is_temporary, bool(verified)
        )
        # What a signature does not sign can be altered at will: of copies that sign the same the
        # one that has a back signature is kept, and the shorter one.
        said = made.hashed + made.salt if verified else packet.body
        other = section.own.get(said)
        if other is None or _rank(own) < _rank(other):
            section.own[said] = own
        if other is not None:
            self.left_out["copy of a signature"] += 1

    def _kinds(self, section: _Section) -> tuple[SignatureType, ...]:
        if section is self.primary:
            return _OVER_PRIMARY
        return _OVER_NAMES if section.is_name else _OVER_SUBKEYS


def _rank(own: _Own) -> tuple[bool, int, bytes]:
    made = signature.fields(own.packet.body)
    embedded = any(
        subpacket.kind == SubpacketType.EMBEDDED_SIGNATURE
        for subpacket in signature.subpackets(made.unhashed)
    )
    return not embedded, len(own.packet.body), own.packet.body


def _cleaned(packet: Packet, key: KeyPacket, section: _Section) -> Packet:
    """
    Return a signature with no other unsigned subpackets than those that name *key* as its issuer,
    and a back signature (RFC 9580 §5.2.3.34) that the subkey made; each as it stands and once.
    """
    made = signature.fields(packet.body)
    kept = []
    back: list[signature.Subpacket] = []
    for subpacket in signature.subpackets(made.unhashed):
        if signature.issuer(subpacket) in key.names:
            kept.append(subpacket.raw)
        elif subpacket.kind == SubpacketType.EMBEDDED_SIGNATURE and section.subkey is not None:
            claims = signature.parse(subpacket.content)
            if claims.kind == SignatureType.PRIMARY_KEY_BINDING and (
                signature.is_made_by(subpacket.content, section.subkey, section.over) is not False
            ):
                back.append(subpacket)
    back = sorted(back, key=lambda subpacket: (len(subpacket.raw), subpacket.raw))[:1]
    unhashed = b"".join(dict.fromkeys([*kept, *(subpacket.raw for subpacket in back)]))
    if len(unhashed) == len(made.unhashed):
        return packet
    body = signature.body(replace(made, unhashed=unhashed))
    return packets.with_shorter_body(PacketType.SIGNATURE, body, like=packet)


def _kept(section: _Section, kinds: Sequence[int]) -> list[_Own]:
    """
    Return the signatures of a section that are kept, of these *kinds*, in the order of the file.
    """
    revocations = [kind for kind in kinds if kind in _REVOCATIONS]
    others = [kind for kind in kinds if kind not in _REVOCATIONS]
    kept = [*_current(section, others), *_chosen(section, revocations)]
    return sorted(kept, key=lambda own: own.order)


def _chosen(section: _Section, kinds: Sequence[int]) -> list[_Own]:
    return [own for own in section.own.values() if own.kind in kinds]


def _current(section: _Section, kinds: Sequence[int]) -> list[_Own]:
    """
    Return of the signatures of these *kinds* those that count now or will: the newest, and while
    that one expires the newest before it; all that could not be verified.
    """
    of_kind = _chosen(section, kinds)
    current = [own for own in of_kind if not own.is_verified]
    verified = [own for own in of_kind if own.is_verified]
    for created in sorted({own.created for own in verified}, reverse=True):
        of_second = [own for own in verified if own.created == created]
        current += of_second
        if not all(own.is_temporary for own in of_second):
            break
    return current


def _is_revoked(section: _Section) -> bool:
    """
    Tell whether a user ID was revoked and not certified again later; only what was verified counts.
    """
    latest = max((own.created for own in _chosen(section, CERTIFICATIONS)), default=0)
    return any(
        own.is_verified and own.created >= latest for own in _chosen(section, _NAME_REVOCATIONS)
    )


def _public(packet: KeyPacket) -> Packet:
    """Return the public packet of a key, under a header like that of the packet in the file."""
    tag = TO_PUBLIC[PacketType(packet.packet.tag)]
    return packets.with_shorter_body(tag, packet.public, like=packet.packet)
