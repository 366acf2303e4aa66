"""``ragleaf preflight``: is this computer fit for it?"""

from __future__ import annotations

from pathlib import Path

import click

from paperkey_alt import keys
from paperkey_alt.cli import files, options
from paperkey_alt.cli.terminal import say, show
from paperkey_alt.computer import machine, preflight
from paperkey_alt.errors import OutputError, in_file
from paperkey_alt.foreign_text import rows
from paperkey_alt.wording import counted


@click.command()
@click.option(
    "--output",
    metavar="FOLDER",
    default=".",
    help="Where you will write the sheets; without it, the current folder.",
)
@click.option(
    "--key",
    "keyfile",
    metavar="KEYFILE",
    help="A key or certificate: the clock must not be before it was made.",
)
@options.fingerprint
def command(*, output: str, keyfile: str | None, fingerprint: str | None) -> None:
    """
    Check whether this computer is fit for handling a secret key: network, swap, core dumps, clock,
    output folder, other users.

    Changes nothing. Ends with 1 if there is a warning.
    """
    if not Path(output).is_dir():
        raise OutputError(f"the folder {output} does not exist", advice="Make the folder first.")
    created = None
    if keyfile:
        data = files.read(keyfile, files.LONGEST_KEY_FILE)
        with in_file(keyfile):
            created = keys.certificate(data, fingerprint).created
    seen = preflight.observe(machine.look(), str(Path(output).resolve()), created)
    for observation in seen:
        show(
            rows(
                (
                    f"{observation.weight.value}: {observation.what}.",
                    f"  {observation.why} {observation.mend}",
                )
            )
        )
    weighty = preflight.weighty(seen)
    if not weighty:
        say(["No warnings."])
        return
    say([f"{counted(len(weighty), 'warning')}."])
    click.get_current_context().exit(1)
