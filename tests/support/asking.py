"""Passphrases for the tests, as the program asks for them."""

from dataclasses import dataclass, field

from paperkey_alt.errors import WrongPassphrase


def asks(*passphrases):
    """Return a source of passphrases, in order; the end of it raises."""
    return Asks(list(passphrases))


@dataclass
class Asks:
    """A source of passphrases in order; it keeps what it was asked for."""

    passphrases: list
    asked: list = field(default_factory=list)

    def __call__(self, what):
        """Return the next passphrase; raises WrongPassphrase behind the last."""
        self.asked.append(what)
        if not self.passphrases:
            raise WrongPassphrase(what)
        return self.passphrases.pop(0)

    def new(self, what):
        """Return the next passphrase as a new one."""
        return self(f"new {what}")
