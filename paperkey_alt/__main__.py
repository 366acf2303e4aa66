"""``python -m paperkey_alt`` is the command ``ragleaf``."""

from paperkey_alt.cli.group import main

if __name__ == "__main__":
    main()
