"""What came back from paper beside the live file: `compare`."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.errors import KeyFileError
from paperkey_alt.keys import pem

if TYPE_CHECKING:
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.secret import Rebuilt


@dataclass(frozen=True)
class LiveFile:
    """The live file: its bytes, and the OpenPGP key in it or the *problem* that there is none."""

    data: bytes
    key: Key | None = None
    problem: KeyFileError | None = None


class Verdict(enum.Enum):
    """What a comparison came to; the first three are agreement."""

    SAME_FILE = enum.auto()
    SAME_SECRETS = enum.auto()
    OWN_REVOCATION = enum.auto()
    SOMETHING_ELSE = enum.auto()
    ANOTHER_KEY = enum.auto()
    SECRET_MISSING = enum.auto()
    PROTECTED_OTHERWISE = enum.auto()


@dataclass(frozen=True)
class Comparison:
    """A verdict, and the *title* of what came back or of the key packet at fault."""

    verdict: Verdict
    title: str

    @property
    def agrees(self) -> bool:
        """Whether the paper gives the live file back, or a revocation that its key made."""
        return self.verdict in _AGREEMENT


_AGREEMENT = (Verdict.SAME_FILE, Verdict.SAME_SECRETS, Verdict.OWN_REVOCATION)


def live_file(data: bytes, fingerprint: str | None) -> LiveFile:
    """
    Return the live file *data*; *fingerprint* names one of several OpenPGP keys.

    A file that is no OpenPGP key is no mistake, for sheets carry files of any kind: what kept it
    from being one is its *problem*, None where it is a private-key file of another kind.
    """
    if pem.recognises(data):
        return LiveFile(data)
    try:
        return LiveFile(data, keys.certificate(data, fingerprint))
    except KeyFileError as problem:
        return LiveFile(data, None, problem)


def compare(rebuilt: Rebuilt, live: LiveFile) -> Comparison:
    """
    Compare what came back from paper with the live file: byte for byte, or the secret parts of the
    key, or as a revocation whose signature the live key verifies.
    """
    if live.data in (rebuilt.data, rebuilt.binary):
        return Comparison(Verdict.SAME_FILE, rebuilt.title)
    if live.key is None:
        return Comparison(Verdict.SOMETHING_ELSE, rebuilt.title)
    if rebuilt.key is not None:
        return _compare_secrets(rebuilt.key, live.key)
    try:
        keys.read_revocation(rebuilt.binary, live.key)
    except KeyFileError:
        return Comparison(Verdict.SOMETHING_ELSE, rebuilt.title)
    return Comparison(Verdict.OWN_REVOCATION, rebuilt.title)


def _compare_secrets(back: Key, live: Key) -> Comparison:
    if back.fingerprint != live.fingerprint:
        return Comparison(Verdict.ANOTHER_KEY, back.title)
    secrets = {part.fingerprint: part.secret for part in back.secret_packets}
    for part in live.secret_packets:
        if part.fingerprint not in secrets:
            return Comparison(Verdict.SECRET_MISSING, part.title)
        if secrets[part.fingerprint] != part.secret:
            return Comparison(Verdict.PROTECTED_OTHERWISE, part.title)
    return Comparison(Verdict.SAME_SECRETS, back.title)
