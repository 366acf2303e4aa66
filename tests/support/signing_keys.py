"""
Signatures that a key of the corpus makes, for what no library at hand writes: of any kind, at any
time, with any subpackets.
"""

from samples import only, sample

from paperkey_alt.format.buffer import push_number, push_prefixed
from paperkey_alt.keys.openpgp import key_packet, packets, signature, signing, unlocked
from paperkey_alt.keys.openpgp.rfc9580 import PacketType


def subpacket(kind, content):
    """A subpacket (RFC 9580 §5.2.3.7)."""
    return packets.push_new_lengths(1 + len(content))[0] + bytes([kind]) + content


def signature_packet(body):
    """A signature packet under a new header."""
    header = bytes([0xC0 | PacketType.SIGNATURE]) + packets.push_new_lengths(len(body))[0]
    return packets.Packet(PacketType.SIGNATURE, header, body)


class Signer:
    """The key packet at index *at* of a key of the corpus, unlocked, and what it signs."""

    def __init__(self, name, at=0):
        one = sample(name)
        self.key = only(one.secret)
        self.part = self.key.key_packets[at]
        self._secret = unlocked.unlock_part(self.part, [one.passphrase or ""], lambda _: "")

    def over_key(self):
        """What a signature over the primary key alone is over."""
        return key_packet.framed(self.key.primary.public)

    def over_name(self, name):
        """What a signature over a user ID is over."""
        return self.over_key() + signature.framed_user_id(name)

    def over_subkey(self, at):
        """What a signature over the subkey at index *at* of the key packets is over."""
        return self.over_key() + key_packet.framed(self.key.key_packets[at].public)

    def body(self, kind, over, created, *, hashed=b"", unhashed=b""):
        """The body of a true signature of this *kind*."""
        part = self.part
        issuer = subpacket(33, bytes([part.version]) + part.fingerprint)
        signed = subpacket(2, push_number(created, 4)) + issuer + hashed
        count = signature.COUNT_BYTES[part.version]
        head = bytes([part.version, kind, part.public[5], signing.HASH])
        salt = bytes(range(32)) if part.version == 6 else b""
        all_hashed = head + push_prefixed(signed, count)
        digest = signature.digest(signing.HASH, over, all_hashed, salt)
        return signature.body(
            signature.Fields(
                all_hashed,
                unhashed,
                digest[:2],
                salt,
                signing.sign(self._secret.clear, part.public, digest),
            )
        )

    def packet(self, kind, over, created, **areas):
        """The same as a packet."""
        return signature_packet(self.body(kind, over, created, **areas))
