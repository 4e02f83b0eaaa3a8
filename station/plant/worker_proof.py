"""What a worker proves before it is given work: its versions, that it sees the archive, and the bits it computes."""

import hashlib
from dataclasses import dataclass

from station.plant.chunk import Chunk, differing_versions, part_bytes
from station.plant.reanalysis import reanalyse


@dataclass(frozen=True, slots=True)
class Proof:
    """What became of a sample; the first two are words, empty where there is nothing to say."""

    differing: str          # versions
    unusable: str           # files of the sample
    sha256: str             # of its part


def prove(sample: Chunk) -> Proof:
    """Return what this process makes of a sample."""
    differing = differing_versions(sample.versions)
    if differing:
        return Proof(differing, "", "")
    found = [reanalyse(test) for test in sample.tests]
    missing = [f"{remark.what}: {remark.where}" for each in found if not each.is_whole for remark in each.remarks]
    return Proof("", "; ".join(missing[:1]), hashlib.sha256(part_bytes(sample, found)).hexdigest())
