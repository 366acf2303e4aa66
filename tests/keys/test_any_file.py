"""Any file at all, carried byte for byte."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from paperkey_alt.errors import KeyFileError, UnprotectedSecret
from paperkey_alt.format.payload import decode, encode
from paperkey_alt.keys import any_file


@pytest.mark.long
@given(
    st.binary(min_size=1, max_size=300),
    st.text(max_size=300).filter(lambda name: max(name, default="a") < "\ud800"),
)
def test_any_file_comes_back(data, name):
    """Byte for byte, with as much of its name as 255 bytes hold."""
    subject = any_file.extract(data, name, allow_unprotected=True, blind=bytes(16))
    rebuilt = any_file.rebuild(decode(encode(subject.payload)))
    assert rebuilt.data == rebuilt.binary == data
    assert rebuilt.title == f"the file {subject.name}"
    assert rebuilt.key is None
    assert name.endswith(subject.name)
    assert len(subject.name.encode()) <= 255


def test_a_plain_file_is_sealed_or_acknowledged():
    """Whether it is secret cannot be told, so it counts as unprotected; an empty one is refused."""
    with pytest.raises(UnprotectedSecret):
        any_file.extract(b"x", "note", allow_unprotected=False, blind=bytes(16))
    with pytest.raises(KeyFileError, match="empty"):
        any_file.extract(b"", "note", allow_unprotected=True, blind=bytes(16))
