"""A group of ten commands with a line of help each, beside ``ragleaf --help``."""

import click


@click.group()
def main():
    """Do one of ten things."""


@main.command()
def balance():
    """Weigh what is in the hold."""


@main.command()
def berth():
    """Find a place at the quay."""


@main.command()
def chart():
    """Draw the depths of the harbour."""


@main.command()
def ferry():
    """Tell when the next one leaves."""


@main.command()
def fog():
    """Tell how far one can see."""


@main.command()
def light():
    """Tell how often the light is seen."""


@main.command()
def log():
    """Write down who came and went."""


@main.command()
def moor():
    """Tie a boat to a buoy."""


@main.command()
def tide():
    """Tell when the water is high."""


@main.command()
def tow():
    """Ask for a tug."""


if __name__ == "__main__":
    main()
