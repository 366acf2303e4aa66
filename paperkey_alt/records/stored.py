"""
Entries of the register as JSON (RFC 8259), as they stand in its file and as ``register --json``
tells them: `value`, `pack` and `unpack`.

What is read may be anything: each field has a reader that refuses what is not of its type.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

from paperkey_alt.records.entry import Entry

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_T = TypeVar("_T")


def value(entry: Entry) -> dict[str, Any]:
    """Return *entry* as JSON has it: dates as ISO 8601 has them, tuples as lists."""
    return {field.name: _value(getattr(entry, field.name)) for field in fields(entry)}


def _value(content: Any) -> Any:
    if isinstance(content, dt.date):
        return content.isoformat()
    if isinstance(content, tuple):
        return [_value(item) for item in content]
    if isinstance(content, dict):
        return {key: _value(item) for key, item in content.items()}
    return content


def pack(entry: Entry) -> str:
    """Return *entry* without its number as JSON; what UTF-8 cannot write becomes ``?``."""
    packed = {name: content for name, content in value(entry).items() if name != "number"}
    return json.dumps(packed, ensure_ascii=False).encode(errors="replace").decode()


def unpack(text: object, number: object, version: int) -> Entry:
    """
    Return the entry that stands as *text* in row *number* of a register of schema *version*, 1 or
    2; raises ValueError for everything that is none.
    """
    try:
        content = json.loads(_text(text))
    except RecursionError:
        raise ValueError("an entry in it is nested too deep") from None
    if not isinstance(content, dict):
        raise ValueError("an entry in it is not a JSON object")  # noqa: TRY004 - it is a value that was read
    if version == 1:
        content = _migrated(content)
    if content.keys() != _READERS.keys():
        raise ValueError("an entry in it does not have the fields of one")
    read = {name: reader(content[name]) for name, reader in _READERS.items()}
    return Entry(number=_integer(number), **read)


def _migrated(content: dict[str, Any]) -> dict[str, Any]:
    """
    Return the fields of an entry of schema version 1 as version 2 has them: sheets were destroyed
    all at once, and names, notes, contents and copies were not noted.
    """
    destroyed = content.get("destroyed")
    marks = _list(_text)(content.get("marks"))
    added: dict[str, Any] = {"notes": {}, "name": None, "contents": {}, "copies": []}
    kept = {name: item for name, item in content.items() if name != "number"}
    when = {} if destroyed is None else dict.fromkeys(marks, destroyed)
    return {**kept, **added, "destroyed": when}


def _text(content: object) -> str:
    if not isinstance(content, str):
        raise ValueError("an entry in it has a field that is not text")  # noqa: TRY004
    content.encode()  # a lone surrogate can neither be shown nor stored, and is a ValueError
    return content


def _integer(content: object) -> int:
    if not isinstance(content, int) or isinstance(content, bool) or not 0 < content < 1 << 63:
        raise ValueError("an entry in it has a field that is not a number above 0")
    return content


def _date(content: object) -> dt.date:
    return dt.date.fromisoformat(_text(content))


def _list(reader: Callable[[object], _T]) -> Callable[[object], tuple[_T, ...]]:
    def read(content: object) -> tuple[_T, ...]:
        if not isinstance(content, list):
            raise ValueError("an entry in it has a field that is not a list")  # noqa: TRY004
        return tuple(reader(item) for item in content)

    return read


def _map(reader: Callable[[object], _T]) -> Callable[[object], Mapping[str, _T]]:
    def read(content: object) -> Mapping[str, _T]:
        if not isinstance(content, dict):
            raise ValueError("an entry in it has a field that is not an object")  # noqa: TRY004
        return {_text(key): reader(item) for key, item in content.items()}

    return read


def _optional(reader: Callable[[object], _T]) -> Callable[[object], _T | None]:
    return lambda content: None if content is None else reader(content)


# The fields of an entry as schema version 2 has them, each with what reads it.
_READERS: dict[str, Callable[[object], Any]] = {
    "marks": _list(_text),
    "fingerprint": _optional(_text),
    "kind": _text,
    "sheets": _integer,
    "printed": _date,
    "threshold": _optional(_integer),
    "holders": _list(_text),
    "expires": _optional(_date),
    "drilled": _optional(_date),
    "drill": _optional(_text),
    "destroyed": _map(_date),
    "notes": _map(_text),
    "name": _optional(_text),
    "contents": _map(_text),
    "copies": _list(_date),
}
