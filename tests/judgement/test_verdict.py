"""The three verdicts are the words that records and screens show."""

import json

from station.judgement.verdict import Verdict


def test_words():
    assert [str(verdict) for verdict in Verdict] == ["PASS", "FAIL", "NO RESULT"]
    assert json.dumps(Verdict.NO_RESULT) == '"NO RESULT"'
