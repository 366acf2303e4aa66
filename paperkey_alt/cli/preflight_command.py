"""``ragleaf preflight``: is this computer fit for it?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, options
from paperkey_alt.cli.options import say
from paperkey_alt.computer import machine, preflight
from paperkey_alt.computer.preflight import Weight
from paperkey_alt.errors import in_file

if TYPE_CHECKING:
    from paperkey_alt.computer.preflight import Finding


@click.command()
@click.option(
    "--output",
    metavar="FOLDER",
    default=".",
    help="Where the sheets are to be written; this folder if not given.",
)
@click.option(
    "--key",
    "keyfile",
    metavar="KEYFILE",
    help="A key or certificate: the clock must not be before it was made.",
)
@options.fingerprint
def command(**given: Any) -> None:
    """
    Look whether this computer is fit for handling a secret key: network, swap, core dumps, clock,
    output folder, other users.

    Changes nothing. Ends with 1 where something matters.
    """
    created = None
    if given["keyfile"]:
        with in_file(given["keyfile"]):
            key = keys.certificate(
                files.read(given["keyfile"], files.LONGEST_KEY_FILE), given["fingerprint"]
            )
            created = key.created.date()
    found = preflight.findings(machine.look(), str(Path(given["output"]).resolve()), created)
    click.echo("\n".join(map(_told, found)))
    weighty = sum(one.weight is Weight.MATTERS for one in found)
    say(
        [
            f"{weighty} {'finding matters' if weighty == 1 else 'findings matter'}."
            if weighty
            else "Nothing was found that matters."
        ]
    )
    click.get_current_context().exit(1 if weighty else 0)


def _told(finding: Finding) -> str:
    return f"{finding.weight.value}: {finding.what}.\n  {finding.why} {finding.mend}"
