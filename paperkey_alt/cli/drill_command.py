"""``ragleaf drill``: a rehearsal of the loss, without one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from paperkey_alt.cli import files, given_register, given_sources, options, passphrases
from paperkey_alt.cli.terminal import say
from paperkey_alt.computer import machine
from paperkey_alt.errors import (
    CertificateError,
    DrillFailed,
    NotEnoughLines,
    NotEnoughShares,
    NoTerminal,
    PaperError,
    SeveralCertificates,
    SeveralSets,
    SharesConflict,
    UnknownFormat,
    UnsupportedKey,
    WrongPassphrase,
    in_file,
)
from paperkey_alt.format import backup
from paperkey_alt.keys import comparison
from paperkey_alt.keys.comparison import Result, Verdict
from paperkey_alt.keys.secret import Sort
from paperkey_alt.records import entry

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

    from paperkey_alt.cli.given_sources import Back
    from paperkey_alt.errors import RagleafError
    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.recover import Findings, SetFinding
    from paperkey_alt.keys.comparison import Compared, Comparison, LiveFile
    from paperkey_alt.reading.page import Page


@dataclass(frozen=True)
class _Disagreement:
    """
    What is told of a verdict that is no agreement: how the sentence begins, what to do, and what
    the register notes, None where the verdict says nothing of the paper.
    """

    begins: str
    advice: str
    outcome: str | None = None


# The noun of what the live file is goes into these.
_GIVES_NOT = "this paper does not give this {noun} back, because "
_NOT_KNOWN = "cannot tell whether this paper gives this {noun} back: "
_ANOTHER = "Give with --key the live file of the key whose fingerprint is printed on the sheets."
_PRINT_ANEW = (
    "While you still have the live key: print it anew, and rehearse the new sheets. Keep these "
    "until then."
)
_ALL_SHEETS = (
    "Give every sheet, scanned or typed in full. If those lines cannot be read on the paper, print "
    "it anew while you still have the live {noun}."
)
_FULLER = "Give with --key a file that has every secret of the key."
_DISAGREEMENTS = {
    Verdict.ANOTHER_FILE: _Disagreement(
        _GIVES_NOT + "it carries a different file from the one that --key names: {title}",
        "Give with --key the file that was printed. If it has changed since, these sheets have it "
        "as it was then.",
    ),
    Verdict.ANOTHER_KEY: _Disagreement(
        _GIVES_NOT + "it carries a different key: {title}", _ANOTHER
    ),
    Verdict.ANOTHER_CERTIFICATE: _Disagreement(
        "this paper carries the certificate of a different key: {title}", _ANOTHER
    ),
    Verdict.ANOTHER_REVOCATION: _Disagreement(
        "this paper carries a revocation certificate that this key did not make: {title}", _ANOTHER
    ),
    Verdict.CERTIFICATE_LACKS: _Disagreement(
        "this certificate does not restore this key: ",
        "Print the certificate anew, with the key as it is now.",
        entry.GIVES_NOT,
    ),
    Verdict.WRONG_ON_PAPER: _Disagreement(
        _GIVES_NOT, f"{_PRINT_ANEW} ragleaf backup --prove checks the live key.", entry.GIVES_NOT
    ),
    Verdict.SECRET_MISSING: _Disagreement(_GIVES_NOT, _PRINT_ANEW, entry.GIVES_NOT),
    Verdict.ANOTHER_SECRET: _Disagreement(
        _GIVES_NOT,
        "Keep both. Restore these sheets, and try in your OpenPGP program which of the two works.",
        entry.GIVES_NOT,
    ),
    Verdict.LIVE_LACKS: _Disagreement(_NOT_KNOWN, _FULLER),
    Verdict.NO_LIVE_SECRET: _Disagreement(
        _NOT_KNOWN
        + "the live file has no secret of the key {title} to compare with: it is a public "
        "certificate, or has stubs in place of the secrets",
        _FULLER,
    ),
    Verdict.WRONG_LIVE: _Disagreement(
        "the fault is in the live file: ",
        "Keep these sheets. Restore the key from them, and compare it with an older copy.",
    ),
    Verdict.NOT_COMPARED: _Disagreement(
        _NOT_KNOWN, "Rehearse again with the passphrases of the sheets and of the live key at hand."
    ),
    Verdict.BOTH_LACK: _Disagreement(
        "this paper gives back what the live file has, and that is not the whole key: ",
        "Print the key file that has that secret too; what is only on a card cannot be printed.",
    ),
}
_CLAUSES = {
    Result.WRONG_ON_PAPER: "the secret of the {} on it does not belong to its public key",
    Result.MISSING_ON_PAPER: "the live key has the {}, whose secret is not on this paper",
    Result.ANOTHER_SECRET: (
        "the secret numbers of the {} are not those of the live file, and Ragleaf cannot tell "
        "which of the two belong to the public key"
    ),
    Result.WRONG_LIVE: (
        "the secret of the {} in it does not belong to its public key, and the one on this paper "
        "does"
    ),
    Result.NOT_COMPARED: "the secret of the {} was not compared, because {}",
    Result.MISSING_LIVE: (
        "the secret of the {} is on this paper and was not compared, because the live file does "
        "not have it"
    ),
    Result.MISSING_ON_BOTH: (
        "neither the live file nor this paper has the secret of the {}, only a stub or the public "
        "part"
    ),
}
_SENTENCES = {
    Result.SAME_BYTES: "The secret of the {}: the same bytes.",
    Result.SAME_SECRET: (
        "The secret of the {}: the same numbers in other bytes; what opens one opens the other."
    ),
    Result.ANOTHER_PASSPHRASE: (
        "The secret of the {}: the same numbers. The passphrase that opens it on this paper does "
        "not open it in the live file."
    ),
    Result.UNPROTECTED_ON_PAPER: (
        "The secret of the {}: the same numbers, on this paper without a passphrase of their own."
    ),
    Result.UNPROTECTED_LIVE: (
        "The secret of the {}: the same numbers, in the live file without a passphrase."
    ),
}
_LIVE_CERTIFICATE = (
    "The public certificate came from the live file: after a loss you need a copy of it beside "
    "these sheets."
)
_BUT_THE_DATE = " except a date in the register, if this backup is in it"
_COMPARE_ELSEWHERE = (
    "Restore these sheets, and try in your OpenPGP program whether the restored key works."
)


@click.command()
@options.sources
@click.option(
    "--key",
    "keyfile",
    required=True,
    metavar="KEYFILE",
    help="The live secret key file to compare with.",
)
@options.passphrase_from
@options.marks
@options.fingerprint
@options.register
@options.no_register
def command(
    sources: tuple[str, ...],
    *,
    keyfile: str,
    passphrase_from: str | None,
    marks: tuple[str, ...],
    fingerprint: str | None,
    register_path: str | None,
    no_register: bool,
) -> None:
    """
    Rehearse a loss: restore the key in memory and compare it with the live key, the one you use.
    Writes no key, only a date in the register.

    SOURCE is a text file, - for standard input, a picture or a PDF; any mix in any order.
    """
    live = comparison.live_file(files.read(keyfile, files.LONGEST_KEY_FILE), fingerprint)
    noun = "key" if live.is_key else "file"
    ask = passphrases.source(passphrase_from)
    findings = back = None
    pages: list[Page] = []
    try:
        pages = given_sources.read(sources)
        findings = given_sources.collect(pages)
        back = _bring_back(findings, marks, keyfile, live, ask)
        known = () if back.passphrase is None else (back.passphrase,)
        compared = comparison.compare(back.rebuilt, live, ask, known)
        failure, outcome = _judged(compared, noun)
        texts = list(_told(compared, back)) if compared.agrees else []
    except (PaperError, CertificateError, WrongPassphrase, NoTerminal) as error:
        meant = [] if findings is None else _chosen(findings, marks)
        failure, outcome, texts = *_failed(error, meant, noun, pages), []
    # The result comes first, whatever there is to say of the register.
    if failure is None:
        but = "" if no_register else _BUT_THE_DATE
        say([*texts, f"Nothing was written{but}."])
    else:
        say([f"ragleaf: {failure}.", f"  {failure.advice}"])
    say(passphrases.unneeded(ask))
    if findings is not None and outcome is not None and not no_register:
        chosen = _chosen(findings, marks)
        if outcome == entry.GIVES:
            # A set that was given beside and is not complete was not rehearsed.
            chosen = [finding for finding in chosen if finding.body is not None]
        chosen = _rehearsed(chosen, findings, back, outcome)
        _note(register_path, chosen, live, outcome)
    if failure is not None:
        click.get_current_context().exit(failure.exit_status)


def _bring_back(
    findings: Findings, marks: tuple[str, ...], keyfile: str, live: LiveFile, ask: Ask
) -> Back:
    """
    Return what the sheets give, with the certificate that is among them, else with that of the live
    file; raise PaperError, CertificateError or WrongPassphrase where they give nothing, and what is
    wrong with the file *keyfile* where its key is needed.
    """
    is_printed = bool(backup.certificate_sets(findings, marks))
    try:
        return given_sources.rebuild(findings, marks, None if is_printed else live.key, ask)
    except CertificateError:
        if live.problem is None or is_printed:
            raise
        with in_file(keyfile):
            raise live.problem from None


def _judged(compared: Comparison, noun: str) -> tuple[DrillFailed | None, str | None]:
    """
    Return the failure that *compared* is, None where it is none, and what is to be noted of the
    paper, None where it says nothing of that.
    """
    if compared.agrees:
        return None, entry.GIVES
    told = _DISAGREEMENTS[compared.verdict]
    clauses = [
        _CLAUSES[secret.result].format(secret.title, secret.problem)
        for secret in compared.having(*_CLAUSES)
    ]
    what = told.begins.format(noun=noun, title=compared.title) + "; ".join(clauses)
    return DrillFailed(
        what, advice=_advice(compared.having(Result.NOT_COMPARED), told)
    ), told.outcome


def _advice(not_compared: tuple[Compared, ...], told: _Disagreement) -> str:
    problems = [secret.problem for secret in not_compared]
    if told is _DISAGREEMENTS[Verdict.NOT_COMPARED]:
        for problem in problems:
            if isinstance(problem, NoTerminal):
                return problem.advice
            if isinstance(problem, UnsupportedKey):
                return _COMPARE_ELSEWHERE
    return told.advice


def _failed(
    error: RagleafError, chosen: Sequence[SetFinding], noun: str, pages: Iterable[Page]
) -> tuple[DrillFailed, str | None]:
    """
    As `_judged`, of an *error* that kept what the *chosen* sets carry from being compared. Which
    set is meant, a passphrase that is not at hand, lines or shares that were not given, or are not
    all on the pictures among the *pages*, a format of later times, and another key than the paper's
    say nothing of the paper.
    """
    gives_not, not_known = _GIVES_NOT.format(noun=noun), _NOT_KNOWN.format(noun=noun)
    if isinstance(error, SeveralCertificates):
        return DrillFailed(f"{not_known}{error}", advice=error.advice), None
    if isinstance(error, CertificateError):
        advice = _OF_CERTIFICATES.get(error.advice, error.advice)
        return DrillFailed(f"{gives_not}{error}", advice=advice), None
    lacking = [finding for finding in chosen if finding.body is None]
    # What is beyond the edge of a picture, or too blurred there, is perhaps fine on the paper.
    is_partly_seen = any(page.raw_lines and (page.hints or page.is_cut_short) for page in pages)
    if isinstance(error, NotEnoughLines | NotEnoughShares) and (
        is_partly_seen or all(finding.is_partly_given for finding in lacking)
    ):
        advice = _ALL_SHEETS.format(noun=noun) if lacking else error.advice
        return DrillFailed(f"{not_known}{error}", advice=advice), None
    if not chosen or isinstance(error, _OF_THE_INPUT):
        return DrillFailed(f"{not_known}{error}", advice=error.advice), None
    return DrillFailed(f"{gives_not}{error}", advice=error.advice), entry.GIVES_NOT


# What is advised here, where no file of a certificate is named, in place of what is elsewhere.
_OF_CERTIFICATES = {
    CertificateError.advice: _ANOTHER,
    given_sources.OTHER_CERTIFICATE: (
        "Give the certificate sheets that were printed with these, or leave out all of a "
        "certificate: then that of the live file is taken."
    ),
}
# What says nothing of the paper.
_OF_THE_INPUT = (NoTerminal, SeveralSets, SharesConflict, UnknownFormat, WrongPassphrase)


def _told(compared: Comparison, back: Back) -> Iterator[str]:
    """Yield what agreement there is of what came *back* with the live file, in sentences."""
    noun = "file" if back.rebuilt.sort is Sort.FILE else "key"
    yield from _agreement(compared, noun, is_public_elsewhere=back.is_from_elsewhere)
    if back.is_from_elsewhere:
        yield _LIVE_CERTIFICATE


def _agreement(compared: Comparison, noun: str, *, is_public_elsewhere: bool) -> Iterator[str]:
    """As `_told`, of a *noun*; what of the key *is_public_elsewhere* is no gift of this paper."""
    if compared.verdict is Verdict.SAME_FILE and not is_public_elsewhere:
        whole = ", byte for byte." if noun == "file" else ": the whole file, byte for byte."
        yield f"This paper gives this {noun} back{whole}"
        return
    if compared.verdict is Verdict.OWN_REVOCATION:
        yield "This paper gives a revocation certificate of this key, which the key made."
        return
    if compared.verdict is Verdict.OWN_CERTIFICATE:
        yield (
            "This paper gives a public certificate with which this key is restored: every key "
            "packet of the live file that has a secret is in it."
        )
        return
    results = {secret.result for secret in compared.secrets}
    if results == {Result.SAME_BYTES}:
        yield "This paper gives this key back: its secret part came back byte for byte."
        return
    if Result.ANOTHER_PASSPHRASE in results:
        yield "This paper gives this key back: the same key under another passphrase."
    else:
        yield "This paper gives this key back: the same key, by its secret numbers."
    for secret in compared.secrets:
        yield _SENTENCES[secret.result].format(secret.title)
    if Result.ANOTHER_PASSPHRASE in results:
        yield "Keep the passphrase of these sheets as long as you keep them."


def _chosen(findings: Findings, marks: Collection[str]) -> list[SetFinding]:
    """Return the sets that *marks*, set marks or backup numbers, name; all if there are none."""
    named = {mark.upper() for mark in marks}
    return [finding for finding in findings.sets if not named or named & backup.names(finding.head)]


def _rehearsed(
    chosen: list[SetFinding], findings: Findings, back: Back | None, outcome: str
) -> list[SetFinding]:
    """
    Return which of the *chosen* sets the *outcome* is of: of printed certificates the one that
    restored the key, where it did, or that was itself what was compared.
    """
    if back is not None and back.rebuilt.is_certificate:
        return chosen
    certificates = backup.certificate_sets(findings)
    others = [finding for finding in chosen if finding not in certificates]
    used = [
        finding
        for finding in certificates
        if back is not None and finding.head.mark == back.certificate
    ]
    return [*others, *(used if outcome == entry.GIVES else [])]


def _note(path: str | None, rehearsed: list[SetFinding], live: LiveFile, outcome: str) -> None:
    """Date the backup in the register of which the sets *rehearsed* are."""
    given_register.note_rehearsal(
        path,
        {finding.head.mark for finding in rehearsed},
        live.key.fingerprint.hex().upper() if live.key else None,
        outcome=outcome,
        today=machine.today(),
    )
