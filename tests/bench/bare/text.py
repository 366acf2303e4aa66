"""Beside ``ragleaf restore`` of text: `bare.joined`, and the libraries that the command loads."""

import click  # noqa: F401
import reedsolo  # noqa: F401

from bare.joined import main

if __name__ == "__main__":
    main()
