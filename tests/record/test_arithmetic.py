"""What a record says of the programs behind its numbers can be found out again, and compared with today's."""

import subprocess
from pathlib import Path

import station
from station.record.arithmetic import arithmetic_versions, differing_arithmetic


def test_the_hash_of_the_source_is_the_one_that_coreutils_give():
    given = subprocess.run("find . -name '*.py' | LC_ALL=C sort | xargs sha256sum | sha256sum", shell=True, check=True,
                           cwd=Path(station.__file__).parent, capture_output=True, text=True).stdout.split()[0]
    arithmetic_versions.cache_clear()
    assert arithmetic_versions()["station_sha256"] == given


def test_what_differs_is_named_with_both_versions():
    now = arithmetic_versions()
    assert differing_arithmetic({"software": {**now, "renderer": {}}}) == {}
    assert differing_arithmetic({"software": {**now, "numpy": "1.0"}}) == {"numpy": ("1.0", now["numpy"])}
    assert differing_arithmetic({}).keys() == now.keys()
