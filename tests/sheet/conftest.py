"""What the tests of sheets share."""

from functools import cache

import pytest

from paperkey_alt.sheet import qr

ONCE = cache(qr.symbol)
BLANK = ((False,) * 21,) * 21


@pytest.fixture
def symbols_once(monkeypatch):
    """Each QR symbol is computed once, however often it is drawn: that takes most of the time."""
    monkeypatch.setattr(qr, "symbol", ONCE)


@pytest.fixture
def symbols_blank(monkeypatch):
    """No QR symbol is computed, for what does not depend on what they show."""
    monkeypatch.setattr(qr, "symbol", lambda *_: BLANK)
