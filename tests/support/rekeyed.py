"""
A key as an OpenPGP program writes it that encrypts anew at each export: other salts and IVs, the
same passphrase or another one.
"""

from __future__ import annotations

from asking import asks
from samples import PASSPHRASE, only, with_secrets

from paperkey_alt.format.buffer import Buffer
from paperkey_alt.keys.openpgp import key_file, protection, unlocked
from paperkey_alt.keys.openpgp.s2k import pull


def exported(data, passphrase=PASSPHRASE, *, old=PASSPHRASE, change=lambda clear: clear):
    """
    Return the key file *data* with every secret that has a passphrase encrypted anew, its numbers
    as *change* makes them.
    """
    secrets = {one.packet.fingerprint: one for one in unlocked.unlock(only(data), asks(*[old] * 9))}

    def anew(key):
        if key.fingerprint not in secrets:
            return None
        one = secrets[key.fingerprint]
        how = pull(Buffer(key.secret), key.version)
        iv = how.iv
        secret = bytearray(how.prefix)
        if iv:
            secret[-len(iv) :] = bytes(octet ^ 0x5A for octet in iv)
        salted = protection.parse(bytes(secret), key.version)
        return protection.lock(
            change(one.clear), salted, unlocked.public_part(key), passphrase.encode()
        )

    return key_file.write(
        only(with_secrets(key_file.write(only(data), armored=False), anew)), armored=True
    )
