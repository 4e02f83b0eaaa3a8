"""One load of a contract file reports every fault."""

import pytest

from station.errors import FileContractError
from station.toml_file import Table, check, parse_toml, read_toml


class Sample(Table):
    format: int
    voltage: float
    name: str


def test_a_good_file_holds():
    source = parse_toml(b'format = 1\nvoltage = 2.5\nname = "x"\n', "good.toml")
    assert check(source, Sample).voltage == 2.5
    assert len(source.sha256) == 64


def test_every_fault_is_named_at_once():
    source = parse_toml(b'format = 2\nvoltage = "0.05"\nvoltag = 1.0\n', "bad.toml")
    with pytest.raises(FileContractError) as caught:
        check(source, Sample)
    keys = {fault.key for fault in caught.value.faults}
    assert keys == {"format", "voltage", "voltag", "name"}
    assert all(fault.remedy and fault.file == "bad.toml" for fault in caught.value.faults)
    assert str(caught.value).count("\n") == len(keys) - 1


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
def test_no_number_that_is_none(number):
    source = parse_toml(f'format = 1\nvoltage = {number}\nname = "x"\n'.encode(), "bad.toml")
    with pytest.raises(FileContractError, match="finite"):
        check(source, Sample)


def test_broken_toml_and_missing_file_are_told(tmp_path):
    with pytest.raises(FileContractError, match="line 1"):
        parse_toml(b"format = \n", "broken.toml")
    with pytest.raises(FileContractError, match="UTF-8"):
        parse_toml(b"\xff\xfe", "broken.toml")
    with pytest.raises(FileContractError, match=r"absent\.toml"):
        read_toml(tmp_path / "absent.toml")
