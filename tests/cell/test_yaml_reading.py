"""YAML as data: no guesses, no code, and an answer for any bytes."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from envelope.cell.errors import CellError
from envelope.cell.yaml_reading import LARGEST_FILE, read_yaml


def refused(content: bytes) -> str:
    with pytest.raises(CellError) as caught:
        read_yaml(content, "cell.yaml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("yes", "yes"),
        ("off", "off"),
        ("true", True),
        ("1:30", "1:30"),
        ("0o17", "0o17"),
        ("0x10", "0x10"),
        ("1_000", "1_000"),
        ("010", 10),
        ("1e3", 1000.0),
        (".5", 0.5),
        ("-7", -7),
        ("'7'", "7"),
        ("2001-01-01", "2001-01-01"),
        ("~", None),
        ("", None),
        ("=", "="),
    ],
)
@pytest.mark.parametrize("head", ["", "%YAML 1.1\n---\n"])
def test_scalars_are_the_same_under_any_version(written, value, head):
    data = read_yaml(f"{head}a: {written}\n".encode(), "cell.yaml").data
    assert data == {"a": value}
    assert type(data["a"]) is type(value)


def test_lines_count_from_one_and_follow_keys():
    lines = read_yaml(b"# remark\na:\n  b:\n    - 1\n    - {c: 2}\n", "cell.yaml").lines
    assert lines[("a",)] == 2
    assert lines[("a", "b", 0)] == 4
    assert lines[("a", "b", 1, "c")] == 5


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "cell.yaml: the file is empty; `envelope new FILE` writes a start"),
        (b"# only a remark\n", "cell.yaml: the file is empty; `envelope new FILE` writes a start"),
        (b"a: 1\nb: \xe9\n", "cell.yaml:2: byte 0xe9 is not UTF-8 text; save the file as UTF-8"),
        ("a: é\n".encode("utf-16"), "cell.yaml:1: byte 0xff is not UTF-8 text; "),
        (b"a: 1\nb: \x07\n", "cell.yaml:2: a control character that no text may have"),
        (b"a: 1\na: 2\n", "cell.yaml:2: a: written twice, first on line 1; keep one of them"),
        (b"? [1, 2]\n: 3\n", "cell.yaml:1: a list or mapping stands as a key; "),
        (b'a: "open\n', "the file ends within a text or a bracket; close"),
        (b"[" * 100_000, "nested deeper than 40 levels"),
        (b"a: " + b"[" * 60 + b"]" * 60, "nested deeper than 40 levels"),
    ],
)
def test_refused(content, message):
    assert message in refused(content)


def test_a_byte_order_mark_is_no_part_of_the_first_key():
    assert read_yaml(b"\xef\xbb\xbfname: x\r\n", "cell.yaml").data == {"name": "x"}


def test_a_file_too_large_is_not_read(write, errors):
    path = write(b"#" * (LARGEST_FILE + 1))
    assert "is larger than 0.5 MB" in errors(path)[0]


def test_a_folder_and_a_missing_file(tmp_path, errors):
    assert errors(tmp_path) == [f"{tmp_path}: is a folder; name a file"]
    missing = tmp_path / "no.yaml"
    assert errors(missing) == [f"{missing}: there is no such file"]
    assert "the name is not one a file can have" in errors("a\0b")[0]


@given(st.binary(max_size=60))
def test_any_bytes_are_data_or_an_error(content):
    with suppress(CellError):
        assert isinstance(read_yaml(content, "cell.yaml").data, dict)
