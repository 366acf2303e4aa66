"""
What came back from paper beside the live file: `compare`, and of OpenPGP keys `compare_packets`.

Bytes are compared first. Where they differ, an OpenPGP program may have encrypted the same numbers
anew, so both sides are unlocked and the secret fields compared. What was not compared is told as
that: no result here stands for a cause that was not tried.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from paperkey_alt import keys
from paperkey_alt.errors import (
    KeyFileError,
    NoTerminal,
    RagleafError,
    UnsupportedKey,
    WrongPassphrase,
)
from paperkey_alt.keys import pem

if TYPE_CHECKING:
    from collections.abc import Iterable

    from paperkey_alt.format.body import Ask
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.keys.openpgp.key_packet import KeyPacket
    from paperkey_alt.keys.openpgp.unlocked import Unlocked
    from paperkey_alt.keys.secret import Rebuilt


@dataclass(frozen=True)
class LiveFile:
    """The live file: its bytes, and the OpenPGP key in it or the *problem* that there is none."""

    data: bytes
    key: Key | None = None
    problem: KeyFileError | None = None

    @property
    def is_key(self) -> bool:
        """Whether it is a key file, of OpenPGP or another kind."""
        return self.key is not None or pem.is_private_key(self.data)


class Result(enum.Enum):
    """
    What the comparison of one secret came to.

    SAME_BYTES: as it is in the file, protection and all. SAME_SECRET: the same numbers, and the
    passphrase that opens the one opens the other, or neither has one. ANOTHER_PASSPHRASE: the same
    numbers, and the passphrase that opens the one was tried on the other and does not open it.
    UNPROTECTED_ON_PAPER, UNPROTECTED_LIVE: the same numbers, and no passphrase over them on that
    side alone. WRONG_ON_PAPER, WRONG_LIVE: that side's numbers do not belong to the public key.
    ANOTHER_SECRET: other numbers, and which of the two belong to the public key cannot be told.
    """

    SAME_BYTES = enum.auto()
    SAME_SECRET = enum.auto()
    ANOTHER_PASSPHRASE = enum.auto()
    UNPROTECTED_ON_PAPER = enum.auto()
    UNPROTECTED_LIVE = enum.auto()
    WRONG_ON_PAPER = enum.auto()
    WRONG_LIVE = enum.auto()
    ANOTHER_SECRET = enum.auto()
    NOT_COMPARED = enum.auto()
    MISSING_ON_PAPER = enum.auto()
    MISSING_LIVE = enum.auto()
    MISSING_ON_BOTH = enum.auto()


@dataclass(frozen=True)
class Compared:
    """
    One secret: the *title* of its key packet, the *result*, and what kept it from being compared
    (*problem*).
    """

    title: str
    result: Result
    problem: RagleafError | None = field(default=None, compare=False)


class Verdict(enum.Enum):
    """What the comparison of all came to; the first four are agreement."""

    SAME_FILE = enum.auto()
    SAME_KEY = enum.auto()
    OWN_REVOCATION = enum.auto()
    OWN_CERTIFICATE = enum.auto()
    ANOTHER_FILE = enum.auto()
    ANOTHER_KEY = enum.auto()
    ANOTHER_CERTIFICATE = enum.auto()
    ANOTHER_REVOCATION = enum.auto()
    CERTIFICATE_LACKS = enum.auto()
    WRONG_ON_PAPER = enum.auto()
    SECRET_MISSING = enum.auto()
    LIVE_LACKS = enum.auto()
    NO_LIVE_SECRET = enum.auto()
    WRONG_LIVE = enum.auto()
    ANOTHER_SECRET = enum.auto()
    NOT_COMPARED = enum.auto()
    BOTH_LACK = enum.auto()


@dataclass(frozen=True)
class Comparison:
    """
    A verdict, the *title* of what came back, and of OpenPGP and other private keys the result for
    each secret.
    """

    verdict: Verdict
    title: str
    secrets: tuple[Compared, ...] = ()

    @property
    def agrees(self) -> bool:
        """
        Whether the paper gives the live file back, or a revocation that its key made, or a
        certificate with which the key is restored.
        """
        return self.verdict in _AGREEMENT

    def having(self, *results: Result) -> tuple[Compared, ...]:
        """Return the secrets with one of these *results*."""
        return tuple(compared for compared in self.secrets if compared.result in results)


_AGREEMENT = (
    Verdict.SAME_FILE,
    Verdict.SAME_KEY,
    Verdict.OWN_REVOCATION,
    Verdict.OWN_CERTIFICATE,
)

# The gravest result decides, in this order: what is wrong with the paper comes first, and then what
# keeps the rest from being known.
_DECIDES = {
    Result.WRONG_ON_PAPER: Verdict.WRONG_ON_PAPER,
    Result.MISSING_ON_PAPER: Verdict.SECRET_MISSING,
    Result.ANOTHER_SECRET: Verdict.ANOTHER_SECRET,
    Result.WRONG_LIVE: Verdict.WRONG_LIVE,
    Result.NOT_COMPARED: Verdict.NOT_COMPARED,
    Result.MISSING_LIVE: Verdict.LIVE_LACKS,
    Result.MISSING_ON_BOTH: Verdict.BOTH_LACK,
}


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


def compare(rebuilt: Rebuilt, live: LiveFile, ask: Ask, known: Iterable[str] = ()) -> Comparison:
    """
    Compare what came back from paper with the live file: byte for byte, or the secrets of the key,
    or as a revocation whose signature the live key verifies.

    *known* passphrases are tried before *ask* is called for one, which is only where bytes differ.
    """
    if rebuilt.is_certificate and live.key is not None:
        return _compare_certificate(rebuilt, live.key)
    is_same_file = live.data in (rebuilt.data, rebuilt.binary)
    back = rebuilt.key
    if back is None and not is_same_file and live.key is not None:
        back = _key_in(rebuilt.data, live.key)
    if back is not None and live.key is not None:
        return _compare_keys(back, live.key, ask, known, is_same_file=is_same_file)
    if is_same_file:
        return Comparison(Verdict.SAME_FILE, rebuilt.title)
    if live.key is not None:
        return Comparison(_as_revocation(rebuilt, live.key), rebuilt.title)
    if pem.recognises(rebuilt.data) and pem.recognises(live.data):
        return _compare_private_keys(rebuilt, live.data, ask, known)
    return Comparison(Verdict.ANOTHER_FILE, rebuilt.title)


def compare_packets(
    back: Key, live: Key, ask: Ask, known: Iterable[str] = ()
) -> tuple[Compared, ...]:
    """
    Compare the secrets of two copies of one key, each key packet with its own, in the order of
    *live* and then of what it does not have.

    *known* passphrases and those that opened another secret are tried before *ask* is called.
    """
    of_live = {packet.fingerprint: packet for packet in live.key_packets}
    of_paper = {packet.fingerprint: packet for packet in back.key_packets}
    comparer = _Comparer(ask, list(known))
    return tuple(
        comparer.compare(of_paper.get(fingerprint), of_live.get(fingerprint))
        for fingerprint in dict.fromkeys((*of_live, *of_paper))
    )


def _key_in(data: bytes, live: Key) -> Key | None:
    """Return the copy of the key *live* that a file printed as it is has in it, None for none."""
    try:
        return keys.certificate(data, live.fingerprint.hex())
    except KeyFileError:
        return None


def _as_revocation(rebuilt: Rebuilt, live: Key) -> Verdict:
    """Return the verdict on what is no key: a revocation of *live*, of another key, or neither."""
    try:
        keys.read_revocation(rebuilt.binary, live)
    except KeyFileError:
        return Verdict.ANOTHER_REVOCATION if rebuilt.is_revocation else Verdict.ANOTHER_FILE
    return Verdict.OWN_REVOCATION


def _compare_certificate(rebuilt: Rebuilt, live: Key) -> Comparison:
    """
    Compare a public certificate with the live key: every key packet there with a secret or a stub,
    which the sheets of the key carry, has to be in it, by its fingerprint; of a live file with
    neither, every key packet.
    """
    back = keys.certificate(rebuilt.data, None)
    if back.fingerprint != live.fingerprint:
        return Comparison(Verdict.ANOTHER_CERTIFICATE, rebuilt.title)
    there = {packet.fingerprint for packet in back.key_packets}
    needed = [packet for packet in live.key_packets if packet.secret] or live.key_packets
    lacking = tuple(
        Compared(packet.title, Result.MISSING_ON_PAPER)
        for packet in needed
        if packet.fingerprint not in there
    )
    if lacking:
        return Comparison(Verdict.CERTIFICATE_LACKS, back.title, lacking)
    return Comparison(Verdict.OWN_CERTIFICATE, rebuilt.title)


def _compare_keys(
    back: Key, live: Key, ask: Ask, known: Iterable[str], *, is_same_file: bool
) -> Comparison:
    if back.fingerprint != live.fingerprint:
        return Comparison(Verdict.ANOTHER_KEY, back.title)
    if not live.secret_packets and not is_same_file:
        return Comparison(Verdict.NO_LIVE_SECRET, live.title)
    secrets = compare_packets(back, live, ask, known)
    results = {compared.result for compared in secrets}
    same = Verdict.SAME_FILE if is_same_file else Verdict.SAME_KEY
    verdict = next((_DECIDES[result] for result in _DECIDES if result in results), same)
    return Comparison(verdict, back.title, secrets)


class _Comparer:
    """Compares one secret after the other, and remembers the passphrases that opened one."""

    def __init__(self, ask: Ask, known: list[str]) -> None:
        self._ask = ask
        self._known = known
        # Sides whose passphrase nobody has: they are not asked for again.
        self._refusals: dict[str, RagleafError] = {}

    def compare(self, paper: KeyPacket | None, live: KeyPacket | None) -> Compared:
        title = (live or paper).title  # type: ignore[union-attr]  # one of them is there
        on_paper = paper is not None and paper.has_secret
        in_live = live is not None and live.has_secret
        if paper is None or live is None or not (on_paper and in_live):
            return Compared(title, _MISSING[on_paper, in_live])
        if paper.secret == live.secret:
            return Compared(title, Result.SAME_BYTES)
        try:
            of_paper = self._unlock(paper, _ON_PAPER)
            of_live = self._unlock(live, _LIVE)
            return Compared(title, _compare_clear(of_paper, of_live))
        except (KeyFileError, WrongPassphrase, NoTerminal) as problem:
            return Compared(title, Result.NOT_COMPARED, problem)

    def _unlock(self, packet: KeyPacket, side: str) -> Unlocked:
        """Return *packet* unlocked; raises what kept it from that."""
        from paperkey_alt.keys.openpgp import unlocked  # noqa: PLC0415 - the ciphers take long to load

        refusal = self._refusals.get(side)
        kind = "key" if packet.is_primary else "subkey"
        name = f"{side.format(kind)} {packet.fingerprint.hex().upper()} ({packet.algorithm})"

        def ask(_: str) -> str:
            if refusal is not None:
                raise refusal
            return self._ask(name)

        try:
            secret = unlocked.unlock_part(packet, self._known, ask)
        except (WrongPassphrase, NoTerminal) as error:
            self._refusals[side] = error
            raise
        if secret.passphrase is not None and secret.passphrase not in self._known:
            # The latest first: it is the one to be tried on the other side.
            self._known.insert(0, secret.passphrase)
        return secret


_ON_PAPER, _LIVE = "{} on paper", "live {}"
_MISSING = {
    (False, False): Result.MISSING_ON_BOTH,
    (False, True): Result.MISSING_ON_PAPER,
    (True, False): Result.MISSING_LIVE,
}


def _compare_clear(paper: Unlocked, live: Unlocked) -> Result:
    """
    Return what two unlocked secrets of one public key are to each other.

    Numbers that differ may be of the same secret, such as the primes of RSA in the other order or a
    private exponent by the other rule: what belongs to the public key is the same secret.
    """
    # The ciphers take long to load.
    from paperkey_alt.keys.openpgp import key_pair, unlocked  # noqa: PLC0415

    if paper.clear != live.clear:
        for secret, wrong in ((paper, Result.WRONG_ON_PAPER), (live, Result.WRONG_LIVE)):
            try:
                key_pair.require(secret.clear, secret.packet.public)
            except UnsupportedKey:
                return Result.ANOTHER_SECRET
            except KeyFileError:
                return wrong
    opens = unlocked.opens(live, paper.passphrase or "")
    return _by_passphrases(paper.passphrase, live.passphrase, opens=opens)


def _by_passphrases(paper: str | None, live: str | None, *, opens: bool) -> Result:
    """
    Return how the same numbers are protected under the passphrases *paper* and *live*; *opens*
    tells whether the one was found to open the other.
    """
    if not paper and not live:
        return Result.SAME_SECRET
    if not paper:
        return Result.UNPROTECTED_ON_PAPER
    if not live:
        return Result.UNPROTECTED_LIVE
    return Result.SAME_SECRET if opens else Result.ANOTHER_PASSPHRASE


def _compare_private_keys(
    rebuilt: Rebuilt, live: bytes, ask: Ask, known: Iterable[str]
) -> Comparison:
    """
    Compare private-key files of other kinds by their public keys: the library checks on loading
    that the private part belongs to them.
    """
    from paperkey_alt.keys import private_key  # noqa: PLC0415 - the ciphers take long to load

    passphrases, title = list(known), rebuilt.title.removeprefix("the ")
    opened = []
    try:
        for data, side in ((rebuilt.data, _ON_PAPER), (live, _LIVE)):
            key = private_key.open_(data, _NamedSide(ask, side), passphrases)
            if key.passphrase is not None:
                passphrases.insert(0, key.passphrase)
            opened.append(key)
    except (KeyFileError, WrongPassphrase, NoTerminal) as problem:
        compared = Compared(title, Result.NOT_COMPARED, problem)
        return Comparison(Verdict.NOT_COMPARED, rebuilt.title, (compared,))
    paper, other = opened
    if private_key.fingerprint(paper.key) != private_key.fingerprint(other.key):
        return Comparison(Verdict.ANOTHER_KEY, rebuilt.title)
    result = _by_passphrases(
        paper.passphrase, other.passphrase, opens=paper.passphrase == other.passphrase
    )
    return Comparison(Verdict.SAME_KEY, rebuilt.title, (Compared(title, result),))


@dataclass(frozen=True)
class _NamedSide:
    """Asks for the passphrase of a *side*, by its name."""

    ask: Ask
    side: str

    def __call__(self, what: str) -> str:
        return self.ask(self.side.format(what))

    def new(self, what: str) -> str:
        return self.ask.new(what)
