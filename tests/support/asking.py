"""Passphrases for the tests, as the program asks for them."""

from paperkey_alt.errors import WrongPassphrase


def asks(*passphrases):
    """Return a source of passphrases, in order; the end of it raises."""
    rows = iter(passphrases)

    def ask(what):
        row = next(rows, None)
        if row is None:
            raise WrongPassphrase(what)
        return row

    return ask
