"""Tiny exports and maps, written down where a test needs them. All made up."""

import pytest

import coachlab as cl

MAP = """
[column.club_speed_mps]
heading = "Head speed"
unit = "mph"
[column.attack_up_deg]
heading = "Attack"
unit = "deg"
[column.path_out_deg]
heading = "Path"
unit = "deg"
positive = "right"
"""


@pytest.fixture
def put(tmp_path):
    """Write a file into the test's folder and return its path."""

    def put(name, content, encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return put


@pytest.fixture
def read(put):
    """Read an export with a map, both given as text; the usual map unless one is given."""

    def read(content, columns=MAP, name="bay.csv", encoding="utf-8"):
        path = put(name, content, encoding)
        return cl.read_shots(path, None if columns is None else cl.ColumnMap.from_toml(put("map.toml", columns)))

    return read


@pytest.fixture
def refused(read):
    """Read an export that must be refused, and return the error."""

    def refused(*args, kind=cl.CoachlabError, **named):
        with pytest.raises(kind) as caught:
            read(*args, **named)
        error = caught.value
        assert error.asked and error.found and error.do
        return error

    return refused
