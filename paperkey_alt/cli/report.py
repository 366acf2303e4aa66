"""
What was read, in words for people and as JSON for programs: of a page `page`, of everything `table`
and `json_text`, and `wanted`.

None shows a secret: of a line that is mended or wrong the columns are named. What the mended
characters are is told on request, and these are of the secret.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from paperkey_alt import foreign_text
from paperkey_alt.format.backup import Joined
from paperkey_alt.format.head_line import backup_characters
from paperkey_alt.format.lines import is_swap
from paperkey_alt.format.recover import Status
from paperkey_alt.wording import counted, noun, ranges

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from paperkey_alt.format.backup import Standing
    from paperkey_alt.format.head_line import Head
    from paperkey_alt.format.lines import Mend
    from paperkey_alt.format.recover import Findings, LineFinding, SetFinding, Stray
    from paperkey_alt.reading.page import Page

_LOST = (Status.WRONG, Status.MISSING)


def table(findings: Findings, *, characters: bool = False) -> str:
    """
    Return what was found, a paragraph for each set and one for what belongs to none; with the
    mended *characters* themselves only if that is wished.
    """
    tables = [_set_table(finding, characters=characters) for finding in findings.sets]
    return "\n\n".join(filter(None, [*tables, _stray_table(findings.strays)]))


def json_text(findings: Findings, *, characters: bool = False) -> str:
    """
    Return what was found as one JSON object, whose fields docs/commands.md lists; with the mended
    *characters* themselves only if that is wished.
    """
    value = {
        "restorable": any(finding.body is not None for finding in findings.sets),
        "sets": [_set_value(finding, characters=characters) for finding in findings.sets],
        "strays": [
            {
                "place": str(stray.place),
                "number": stray.number,
                "mark": stray.mark,
                "reason": stray.reason,
            }
            for stray in findings.strays
        ],
    }
    import json  # noqa: PLC0415 - a table needs none of it

    return json.dumps(foreign_text.clean_values(value), indent=1, ensure_ascii=False)


def page(read: Page) -> str:
    """Return in a row what was read from the page *read*."""
    carried = sorted({number for block in read.blocks for number, _ in block.lines[1:]})
    rows = [row for sheet in read.sheets for row in sheet.rows if row.number not in carried]
    printed = sorted({row.number for row in rows if row.chosen is not None})
    unread = sorted({row.number for row in rows} - set(printed))
    told = []
    if carried:
        told.append(f"{counted(len(read.blocks), 'QR block')} with lines {ranges(carried)}")
    if printed:
        told.append(f"printed {noun(printed, 'line')} {ranges(printed)}")
    if told and unread:
        told.append(f"{counted(len(unread), 'printed row')} not clear ({ranges(unread)})")
    where = f"{read.source}: page {read.page}" if read.pages > 1 else read.source
    return f"{where}: {' and '.join(told) or _NOTHING_READ}"


def hints(read: Page) -> list[str]:
    """Return what is to be said of the picture of the page *read*, in indented rows."""
    cut_short = (_CUT_SHORT,) if read.is_cut_short else ()
    return [f"  {hint}" for hint in (*cut_short, *read.hints)]


def verdict(found: Iterable[SetFinding], read: Page) -> str:
    """Return in a row whether what was read is enough for each set that the page *read* is of."""
    return "; ".join(
        f"set {finding.head.mark}: {_enough(finding)}"
        for finding in found
        if any(
            place.source == read.source and place.sheet == read.page
            for line in finding.lines
            for place in line.places
        )
    )


def _enough(finding: SetFinding) -> str:
    if finding.body is not None:
        return "enough was read"
    if finding.needed:
        return f"{counted(finding.needed, 'more line')} needed"
    return "enough lines were read, but they do not agree with their digest"


_CUT_SHORT = "The file ends too early, as after a broken copy: this is what is there of it."
_NOTHING_READ = "no lines found on this page; a letter, or a page of another kind, has none"


def wanted(findings: Findings) -> list[str]:
    """Return for each set that lacks lines which of them to type, and on which sheet they stand."""
    return [_wanted(finding) for finding in findings.sets if finding.needed]


def symbols(pages: Iterable[Page], findings: Findings) -> list[str]:
    """
    Return for each set how many of its QR symbols are there, where a scanner typed some of them.
    """
    if not any(page.typed_symbols for page in pages):
        return []
    return [_symbols(finding) for finding in findings.sets]


def _symbols(finding: SetFinding) -> str:
    from paperkey_alt.entry import position  # noqa: PLC0415 - few sets are typed by a scanner

    there = {line.number for line in finding.lines if line.status not in _LOST}
    told = f"Set {finding.head.mark}: {position.symbols_in(there, finding.head.total)}."
    is_enough = finding.body is not None and len(there) < finding.head.total
    return f"{told} These are enough." if is_enough else told


def shares(findings: Findings) -> list[str]:
    """
    Return what is to be said of shares that lie together: that they are of several backups, or one
    was given more than once.
    """
    told = []
    backups: dict[str, list[str]] = defaultdict(list)
    for finding in findings.sets:
        share = finding.head.share
        if share is None:
            continue
        backup = backup_characters(share.backup)
        backups[backup].append(str(share.number))
        given = [line.places for line in finding.lines if line.status is not Status.MISSING]
        if given and all(len({place.source for place in places}) > 1 for places in given):
            told.append(
                f"Share {share.number} of backup {backup} was given more than once; it counts once."
            )
    if len(backups) > 1:
        listed = "; ".join(
            f"{backup}: {noun(numbers, 'share')} {', '.join(numbers)}"
            for backup, numbers in backups.items()
        )
        told.append(
            f"You gave shares of {len(backups)} backups ({listed}); only shares of the same backup "
            "work together."
        )
    return told


def standing(backup: Standing) -> str:
    """Return in one sentence which shares of a backup are complete, and how many are lacking."""
    more = max(0, backup.needed - len(backup.complete))
    rest = f"you need {more} more" if more else "that is as many as you need"
    return (
        f"Backup {backup.backup}: {noun(backup.complete, 'share')} "
        f"{', '.join(map(str, backup.complete))} of {backup.count} can be read in full; {rest}."
    )


def not_joined(joined: Joined | Standing) -> list[str]:
    """Return in sentences which complete sets were not used, and why."""
    words = (
        (
            joined.apart if isinstance(joined, Joined) else (),
            (
                "Set {} was not used: it does not fit the sets that the secret was joined from. "
                "Ragleaf cannot tell which of them somebody altered."
            ),
        ),
        (joined.left_out, "Set {} was left out: it contradicts the set that you named."),
        (joined.strange, "Set {} was left out: it is not a share as Ragleaf prints them."),
    )
    return [sentence.format(mark) for marks, sentence in words for mark in marks]


def _lost_lines(finding: SetFinding) -> list[int]:
    """Return the data lines that were not read."""
    return [
        line.number
        for line in finding.lines
        if line.status in _LOST and line.number <= finding.head.data_lines
    ]


def _wanted(finding: SetFinding) -> str:
    from paperkey_alt.sheet import layout  # noqa: PLC0415 - most sets lack nothing

    # Spare lines need not be told: the data lines that were not read are always enough.
    lost = _lost_lines(finding)
    where = []
    sheets = layout.plan(finding.head.total, layout.PAPERS["a4"]).sheets
    for number, sheet in enumerate(sheets, 1):
        on_sheet = [row.number for row in sheet.rows if row.number in lost]
        if on_sheet:
            where.append(f"{noun(on_sheet, 'line')} {ranges(on_sheet)} of sheet {number}")
    enough = ""
    if finding.needed < len(lost):
        enough = f"; any {finding.needed} of these {len(lost)} will do"
    return (
        f"To complete set {finding.head.mark}: type {', '.join(where)}, or scan again{enough}."
        f"{_if_large(finding, lost)}"
    )


def _if_large(finding: SetFinding, lost: Sequence[int]) -> str:
    """Return on which sheets the *lost* lines are if the set was printed with --large."""
    from paperkey_alt.sheet import layout  # noqa: PLC0415 - most sets lack nothing

    paper = layout.PAPERS["a4"]
    large = layout.plan(finding.head.total, paper, large=True)
    if large.preset == layout.plan(finding.head.total, paper).preset or not lost:
        return ""
    on = [
        number
        for number, sheet in enumerate(large.sheets, 1)
        if any(row.number in lost for row in sheet.rows)
    ]
    return f" Printed with --large they are on {noun(on, 'sheet')} {ranges(on)}."


def _set_table(finding: SetFinding, *, characters: bool) -> str:
    head = finding.head
    verdict = (
        f"not complete: {finding.problem.what}"
        if finding.problem
        else "complete, and it agrees with its digest"
    )
    rows = [
        (
            f"Set {head.mark}{_share(head)}, {counted(head.data_lines, 'data line')} and "
            f"{counted(head.spare_lines, 'spare line')}: {verdict}."
        )
    ]
    if finding.computed:
        rows.append("  Line 0 was not read; it was computed from the other lines.")
    for status in Status:
        numbers = [line.number for line in finding.lines if line.status is status]
        data = [number for number in numbers if number <= head.data_lines]
        if status is Status.MISSING and len(data) < len(numbers):
            # Whoever types leaves the spare lines out, and nothing is amiss.
            rows.append(_row("not read", numbers[len(data) :]) + "  (spare)")
            numbers = data
        if numbers or status is Status.FINE:
            rows.append(_row(status.value, numbers))
    rows.extend(_details(finding.lines, characters=characters))
    lost = _lost_lines(finding)
    if finding.body is not None and lost:
        rows.append(f"  Spare lines replaced {noun(lost, 'line')} {ranges(lost)}.")
    return foreign_text.rows(rows)


def _row(word: str, numbers: Sequence[int]) -> str:
    return f"  {word:<10}{len(numbers):>4}   {ranges(numbers)}".rstrip()


def _share(head: Head) -> str:
    if head.share is None:
        return ""
    share = head.share
    return (
        f" (share {share.number} of {share.count}, {share.threshold} needed, "
        f"backup {backup_characters(share.backup)})"
    )


def _details(lines: Iterable[LineFinding], *, characters: bool) -> Iterator[str]:
    for line in lines:
        if line.status is Status.MENDED:
            mended = _mended(line.mends) if characters else _mended_places(line.mends)
            yield f"  line {line.number}: {mended}{_at(line)}"
        elif line.status is Status.WRONG:
            known = "; ".join(filter(None, (_columns(line.mends), line.remark)))
            yield f"  line {line.number}: {known}{_at(line)}"


def _at(line: LineFinding) -> str:
    return f"  ({line.places[0]})" if line.places else ""


def _mended(mends: tuple[Mend, ...]) -> str:
    if is_swap(mends):
        first, second = mends
        return (
            f"characters {first.column} and {second.column}: read as {first.was}{second.was}, "
            f"corrected to {first.now}{second.now}"
        )
    return ", ".join(map(_mend, mends))


def _mended_places(mends: tuple[Mend, ...]) -> str:
    """Return where a line was mended, and nothing of what stands there."""
    if is_swap(mends):
        first, second = mends
        return f"characters {first.column} and {second.column} were swapped"
    return ", ".join(map(_mend_place, mends))


def _mend_place(mend: Mend) -> str:
    if mend.column == 0:
        return f"number: read as {mend.was}, corrected to {mend.now}"
    if not mend.was:
        return f"character {mend.column} was missing"
    if not mend.now:
        return f"character {mend.column} was one too many"
    return f"character {mend.column} mended"


def _mend(mend: Mend) -> str:
    if mend.column == 0:
        return f"number: read as {mend.was}, corrected to {mend.now}"
    if not mend.was:
        return f"character {mend.column}, {mend.now}, was missing"
    if not mend.now:
        return f"character {mend.column}, {mend.was}, was one too many"
    return f"character {mend.column}: read as {mend.was}, corrected to {mend.now}"


def _columns(mends: tuple[Mend, ...]) -> str:
    if not mends:
        return ""
    return f"{noun(mends, 'character')} {ranges(mend.column for mend in mends)} wrong"


def _stray_table(strays: tuple[Stray, ...]) -> str:
    if not strays:
        return ""
    return foreign_text.rows(
        ["Not used:", *(f"  {stray.place}: {_stray(stray)}" for stray in strays)]
    )


def _stray(stray: Stray) -> str:
    number = "a line" if stray.number is None else f"line {stray.number}"
    return f"{number}, {stray.reason}{f' {stray.mark}' if stray.mark else ''}"


def _set_value(finding: SetFinding, *, characters: bool) -> dict[str, object]:
    return {
        "mark": finding.head.mark,
        "data_lines": finding.head.data_lines,
        "spare_lines": finding.head.spare_lines,
        "share": _share_value(finding.head),
        "computed": finding.computed,
        "restorable": finding.body is not None,
        "needed": finding.needed,
        "problem": finding.problem.what if finding.problem else None,
        "lines": [_line_value(line, characters=characters) for line in finding.lines],
    }


def _share_value(head: Head) -> dict[str, object] | None:
    share = head.share
    if share is None:
        return None
    backup = backup_characters(share.backup)
    return {"number": share.number, "needed": share.threshold, "of": share.count, "backup": backup}


def _line_value(line: LineFinding, *, characters: bool) -> dict[str, object]:
    told = characters and line.status is Status.MENDED
    return {
        "number": line.number,
        "status": line.status.value,
        "places": [str(place) for place in line.places],
        "characters": [
            {"column": mend.column, "was": mend.was, "now": mend.now}
            if told
            else {"column": mend.column}
            for mend in line.mends
        ],
        "remark": line.remark,
    }
