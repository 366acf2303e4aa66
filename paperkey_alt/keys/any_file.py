"""Any small file, as it is: `extract` and `rebuild`."""

from __future__ import annotations

from paperkey_alt.errors import KeyFileError, UnprotectedSecret
from paperkey_alt.format.payload import LONGEST_NAME, File
from paperkey_alt.keys import pem
from paperkey_alt.keys.secret import Extract, Rebuilt, Sort


def extract(data: bytes, name: str, *, allow_unprotected: bool, blind: bytes) -> Extract:
    """
    Return the file *name* as something to print; *blind* is 16 random bytes.

    Whether it is secret cannot be told, so it counts as unprotected: raises UnprotectedSecret
    unless *allow_unprotected* is set, KeyFileError for an empty file.
    """
    if not data:
        raise KeyFileError("the file is empty", advice="Check the name, and give the file.")
    if not allow_unprotected:
        raise UnprotectedSecret(
            "this file would be printed without a seal: anyone with the sheet has the file",
            advice=_ADVICE,
        )
    shown = carried_name(name)
    return Extract(
        File(shown, data, blind),
        "A file",
        shown,
        None,
        None,
        protected=False,
        sort=Sort.FILE,
    )


def carried_name(name: str) -> str:
    """Return as much of the end of *name* as a payload has room for."""
    return name.encode()[-LONGEST_NAME:].decode(errors="ignore")


def rebuild(payload: File) -> Rebuilt:
    """Return the file that *payload* was extracted from."""
    sort = Sort.PRIVATE_KEY if pem.is_private_key(payload.data) else Sort.FILE
    return Rebuilt(payload.data, payload.data, f"the {sort.value} {payload.name}", sort=sort)


_ADVICE = (
    "Seal it with --seal, or use --allow-unprotected if you will guard the sheet as well as the "
    "file itself."
)
