"""
The sources that a command is given: `read` them as pages, `collect` what is found in these,
`rebuild` the secret that their sheets carry; and the `certificate` that is given beside them.
"""

from __future__ import annotations

import sys
import threading
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, keyboard, process, report
from paperkey_alt.cli.terminal import say
from paperkey_alt.errors import (
    CertificateError,
    KeyFileError,
    NoSuchKey,
    PaperError,
    SeveralCertificates,
    SeveralKeys,
    TooLarge,
    UnsupportedKey,
    in_file,
)
from paperkey_alt.format import backup, body, recover
from paperkey_alt.keys.secret import NOT_REBUILT
from paperkey_alt.reading import kinds, sources
from paperkey_alt.wording import noun

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence

    from click._termui_impl import ProgressBar

    from paperkey_alt.format.body import Ask
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.recover import Findings, SetFinding
    from paperkey_alt.keys import Rebuilt
    from paperkey_alt.keys.openpgp.key import Key
    from paperkey_alt.reading.page import Page

# Of CPU. By reasoning: a page whose rows are hard to read takes 2 s, on a slow computer 8 s; with
# the decoder's limit a file of anything else takes no more than 20 s, and a second and a half a
# page.
_SECONDS_READING = 12
_SECONDS_A_SHEET = 5
_SECONDS_A_PAGE = 0.5
_NO_LINES_SO_FAR = (
    "No line was found in it by then. Leave out pages that have no lines, such as letters, first "
    "pages and the printed restorer; scan a sheet anew, flat, in grey, at 300 dpi."
)
_SECONDS_COLLECTING = 20
_FIRST_BYTES = 1 << 16  # that tell what a file is: before the numbers of a PGM may be remarks
_SECONDS_SILENT = 1  # on the clock, after which it is said what goes on


def read(names: Sequence[str], *, thorough: bool = False, quiet: bool = False) -> list[Page]:
    """
    Return what the sources *names* give, after saying so of each page, unless *quiet*; of pages the
    printed rows of all lines if *thorough*.
    """
    read_of: list[tuple[str, list[Page]]] = []
    kept: dict[str, bytes] = {}
    with _progress(len(names)) as done:
        for name in names:
            is_typed = name == files.STREAM and sys.stdin.isatty()
            if is_typed:
                data = keyboard.read(files.LONGEST_SOURCE)
            else:
                data = files.read(name, files.LONGEST_SOURCE)
            told = files.told(name)
            limit = process.limited(f"reading {told}", _SECONDS_READING)
            has_lines = False
            pages: list[Page] = []
            read_of.append((name, pages))
            try:
                with announced(f"looking at {told}"), limit as grant:
                    for page in sources.read(data, told, thorough=thorough):
                        pages.append(page)
                        done(page)
                        has_lines = has_lines or bool(page.raw_lines)
                        grant(_SECONDS_A_SHEET if page.raw_lines else _SECONDS_A_PAGE)
            except TooLarge as error:
                advice = error.advice if has_lines else _NO_LINES_SO_FAR
                raise TooLarge(error.what, advice=advice) from None
            if files.gives_once(name) and _lacks_head(pages):
                kept[name] = data
    every = _read_again(read_of, kept)
    if not quiet:
        say(row for page in every if page.pages for row in (report.page(page), *report.hints(page)))
    say(dict.fromkeys(sentence for page in every for sentence in page.advice))
    return every


def _read_again(
    read_of: Sequence[tuple[str, Sequence[Page]]], kept: Mapping[str, bytes]
) -> list[Page]:
    """
    Return the pages *read_of* each source, those that lack a head line read again with the heads
    that others have, if any; *kept* is the content of sources that cannot be opened again.
    """
    pages = [page for _, before in read_of for page in before]
    if not _lacks_head(pages):
        return pages
    with process.limited("finding the head lines", _SECONDS_COLLECTING):
        heads = recover.heads([raw_line for page in pages for raw_line in page.raw_lines])
    if not heads:
        return pages
    all_pages: list[Page] = []
    for name, before in read_of:
        again = before
        if _lacks_head(before):
            told = files.told(name)
            data = kept[name] if name in kept else files.read(name, files.LONGEST_SOURCE)
            seconds = _SECONDS_READING + _SECONDS_A_SHEET * len(before)
            # What was read before is something: a second look that takes too long is none.
            with (
                suppress(TooLarge),
                announced(f"looking at {told} again"),
                process.limited(f"reading {told} again", seconds),
            ):
                again = [*sources.read_again(data, told, before, heads)]
        all_pages.extend(again)
    return all_pages


def _lacks_head(pages: Iterable[Page]) -> bool:
    return any(page.lacks_head for page in pages)


def is_picture(name: str) -> bool:
    """
    Tell by its first bytes whether the file *name* is taken for pictures. Nothing is read of a
    stream, which would lack it afterwards.
    """
    return kinds.is_picture(files.first_bytes(name, _FIRST_BYTES))


@contextmanager
def announced(what: str) -> Iterator[None]:
    """Say on a terminal that *what* is going on, if it is after a second."""
    timer = threading.Timer(_SECONDS_SILENT, say, [[f"{what[0].upper()}{what[1:]} …"]])
    timer.daemon = True
    if sys.stderr.isatty():
        timer.start()
    try:
        yield
    finally:
        timer.cancel()


def collect(pages: Iterable[Page]) -> Findings:
    """Return what is found in *pages*."""
    with process.limited("finding the lines of each set", _SECONDS_COLLECTING):
        return recover.recover([raw_line for page in pages for raw_line in page.raw_lines])


def sets(pages: Iterable[Page]) -> Sequence[SetFinding]:
    """Return what is found of each set in *pages*, complete or not; nothing where none is."""
    try:
        return collect(pages).sets
    except PaperError:
        return ()


def known_lines(found: Iterable[SetFinding]) -> dict[Head, Sequence[str]]:
    """Return the exact lines of each set that is *found* in full."""
    line_sets = (finding.laid_out() for finding in found)
    return {line_set.head: line_set.lines for line_set in line_sets if line_set is not None}


@contextmanager
def _progress(sources: int) -> Iterator[Callable[[Page], None]]:
    """
    Show on a terminal how much of so many sources is read, unless it is soon done; yield what is
    told of each page.
    """
    with ExitStack() as stack:
        bar: ProgressBar[int] | None = None

        def done(page: Page) -> None:
            nonlocal bar
            if bar is None and sys.stderr.isatty() and max(sources, page.pages) > 1:
                bar = stack.enter_context(
                    click.progressbar(length=_STEPS * sources, label="Reading", file=sys.stderr)
                )
            if bar is not None:
                bar.update(round(_STEPS / max(1, page.pages)))

        yield done


_STEPS = 1000  # into which a source is divided


@dataclass(frozen=True)
class Back:
    """
    What came *rebuilt* from the sheets; the *passphrase* of the seal, None where none was over it;
    the set mark of the *certificate* it was rebuilt with, None where no printed one was needed; and
    whether one was needed that *is_from_elsewhere* than these sheets.
    """

    rebuilt: Rebuilt
    passphrase: str | None = field(repr=False)
    certificate: str | None = None
    is_from_elsewhere: bool = False


def rebuild(findings: Findings, marks: Collection[str], certificate: Key | None, ask: Ask) -> Back:
    """
    Return the secret that the sheets carry. The public certificate is taken from among the sheets
    where it is needed and *certificate* is None; which set it is of is said, and also where one
    that is printed is passed over for *certificate*.
    """
    say(report.shares(findings))
    joined = backup.join(findings, marks)
    say(report.not_joined(joined))
    unwrapped = body.unwrap(joined.body, ask)
    printed = None
    passed_over: list[str] = []
    is_needed = keys.needs_certificate(unwrapped.payload)
    if certificate is None and is_needed:
        printed = printed_certificate(findings, marks)
    elif is_needed:
        passed_over = [member.head.mark for member in backup.certificate_sets(findings, marks)]
    try:
        rebuilt = keys.rebuild(
            unwrapped.payload,
            certificate=printed.key if printed else certificate,
            passphrase=unwrapped.passphrase,
            ask=ask,
        )
    except UnsupportedKey as error:
        raise UnsupportedKey(error.what, advice=NOT_REBUILT, place=error.place) from None
    except CertificateError as error:
        if passed_over:
            raise CertificateError(error.what, advice=_OR_FROM_THE_SHEETS) from None
        if printed is None:
            raise
        raise CertificateError(
            f"set {printed.mark} is a printed certificate, and not the one that is needed: "
            f"{error.what}",
            advice=OTHER_CERTIFICATE,
        ) from None
    if printed:
        say([f"The public certificate was taken from the sheets of set {printed.mark}."])
    if passed_over:
        of_sets = f"{noun(len(passed_over), 'set')} {', '.join(passed_over)}"
        say([f"The public certificate was taken from its file, not from the sheets of {of_sets}."])
    mark = printed.mark if printed else None
    return Back(rebuilt, unwrapped.passphrase, mark, is_needed and printed is None)


@dataclass(frozen=True)
class PrintedCertificate:
    """A public certificate that is among the sheets, as a *key*, and the set *mark* there."""

    key: Key
    mark: str


def printed_certificate(findings: Findings, marks: Collection[str]) -> PrintedCertificate | None:
    """
    Return the public certificate that is among the sheets, None where none is.

    Raises SeveralCertificates, or CertificateError where what is printed is no certificate.
    """
    printed = backup.certificate_sets(findings, marks)
    if len(printed) > 1:
        their_marks = ", ".join(member.head.mark for member in printed)
        raise SeveralCertificates(
            f"you gave the sheets of {len(printed)} public certificates: sets {their_marks}"
        )
    if not printed:
        return None
    mark = printed[0].head.mark
    (packets,) = backup.certificates(findings, marks)
    try:
        return PrintedCertificate(keys.certificate(packets, None), mark)
    except KeyFileError as error:
        raise CertificateError(
            f"set {mark} is a printed certificate, and it cannot be used: {error.what}",
            advice=OTHER_CERTIFICATE,
        ) from None


_OR_FROM_THE_SHEETS = (
    "The sheets of a public certificate are among those you gave: leave out --public to use them, "
    "or name another file."
)
OTHER_CERTIFICATE = (
    "Give the certificate sheets that were printed with these, or name the certificate's file with "
    "--public."
)


def certificate(name: str | None, fingerprint: str | None) -> Key | None:
    """Return the public certificate in the file *name*, if one is named."""
    if name is None:
        return None
    data = files.read(name, files.LONGEST_KEY_FILE)
    with in_file(name):
        try:
            key = keys.certificate(data, fingerprint)
        except (SeveralKeys, NoSuchKey):
            raise
        except KeyFileError as error:
            raise CertificateError(error.what, place=error.place) from None
    if key.secret_packets:
        caution = f"Caution: {name} is a secret key file; Ragleaf uses only what is public in it."
        say([caution, "  The public certificate is enough here: keep the secret key elsewhere."])
    return key
