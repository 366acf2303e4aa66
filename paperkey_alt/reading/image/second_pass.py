"""
A second pass over pages on which no line 0 was read, with the head lines of other pages: `read`.

A head line known from elsewhere says what its own page did not: how many lines there are, so which
sizes of type and which sheets there may be, and the set mark, which is in the check of every line.
Whether a page is of that set its rows tell, by these checks; the head line only proposes.

Needs the extra ``scan``.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from paperkey_alt.errors import Place
from paperkey_alt.format import lines
from paperkey_alt.reading.image import decoder, diagnosis, locate, pages, printed_rows
from paperkey_alt.reading.image.printed_rows import PrintedSheet
from paperkey_alt.sheet import layout

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from paperkey_alt.format.head_line import Head
    from paperkey_alt.reading.image.locate import LocatedSheet, Scan
    from paperkey_alt.reading.page import Page

_MOST_HEADS = 4  # that are tried on a sheet whose rows imply no set mark
_VOTES = 2  # rows that settle a set mark


def read(data: bytes, name: str, before: Sequence[Page], heads: Sequence[Head]) -> Iterator[Page]:
    """
    Yield the pages *before* of the file *name*; those on which no line 0 was read as they are when
    they are of a set of one of *heads*, where that gives more.

    Raises SourceError as `decoder.decoded` does.
    """
    wanted = [page.page for page in before if page.lacks_head]
    with decoder.decoded(data, name, wanted) as (_, decoded):
        for page in before:
            if not page.lacks_head:
                yield page
                continue
            picture = next(decoded).picture()
            scan = locate.Scan.of(picture)
            sheets = tuple(_of_a_set(scan, shown, heads) for shown in page.sheets)
            if not any(_agreeing_lines(shown) for shown in sheets):
                found = _best(scan, locate.find_again(scan, heads[:_MOST_HEADS]), _VOTES)
                if found is not None:
                    # What kept it from being read at first does so no more.
                    sheets = (found,)
                    hints = diagnosis.hints(picture, [found.located], legible=True)
                    page = replace(page, hints=hints)  # noqa: PLW2901 - the same page, read again
            place = Place(source=name, sheet=page.page)
            raw_lines = tuple(pages.raw_lines(page.blocks, sheets, place))
            yield replace(page, raw_lines=raw_lines, sheets=sheets)


def _of_a_set(scan: Scan, shown: PrintedSheet, heads: Sequence[Head]) -> PrintedSheet:
    """Return *shown*, or what is read in its place as of a set of *heads*, if that is more."""
    if shown.located.head is not None:
        return shown
    mark = _implied_mark(shown)
    likely = [head for head in heads if mark in (None, head.mark)][:_MOST_HEADS]
    if not likely:
        return shown
    within = _within(shown, max(head.total for head in likely), surely=mark is not None)
    count = len(_agreeing_lines(within))
    if count == 0 or any(_nearly_all_agree(within, head) for head in likely):
        return within
    return _best(scan, locate.find_again(scan, likely, shown.located), count + 1) or within


def _best(scan: Scan, likely: Iterable[LocatedSheet], least: int) -> PrintedSheet | None:
    """Return of *likely* that of which most rows agree, if at least *least* do."""
    read = [printed_rows.read(scan.pyramid, located) for located in likely]
    best = max(read, key=lambda shown: len(_agreeing_lines(shown)), default=None)
    return best if best is not None and len(_agreeing_lines(best)) >= least else None


def _implied_mark(shown: PrintedSheet) -> str | None:
    """Return the set mark that most rows of *shown* imply that agree, if so many do."""
    votes = Counter(
        lines.implied_mark(row.chosen, row.number)
        for row in shown.rows
        if row.chosen and row.number
    )
    ((mark, count),) = votes.most_common(1) or ((None, 0),)
    return mark if count >= _VOTES else None


def _within(shown: PrintedSheet, total: int, *, surely: bool) -> PrintedSheet:
    """
    Return *shown* without rows beyond *total* lines, those with agreeing checks only if it is
    *surely* of such a set.
    """
    rows = (row for row in shown.rows if row.number <= total or (row.chosen and not surely))
    return PrintedSheet(shown.located, tuple(rows))


def _nearly_all_agree(shown: PrintedSheet, head: Head) -> bool:
    """Tell whether no more than a few rows of *shown* that a set of *head* has can be lacking."""
    located = shown.located
    ours = [row.number for row in located.sheet.rows if row.number <= head.total]
    fits = any(plan.preset == located.preset for plan in layout.plans(head.total, located.paper))
    return fits and len(_agreeing_lines(shown)) >= pages.NEARLY_ALL * max(1, len(ours))


def _agreeing_lines(shown: PrintedSheet) -> set[int]:
    """Return the lines whose rows agree with their checks, line 0 not among them."""
    return {row.number for row in shown.rows if row.chosen is not None and row.number}
