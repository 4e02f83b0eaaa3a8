"""station.certificate.rows: what stands in one printed row."""

from station.certificate.rows import judged_rows, labels_of, other_rows


def _judged(name="thd.ab", label="forward 1500", **changes):
    return {"key": "thd", "name": name, "label": label, "unit": "%", "value": 2.0, "u": 0.1, "lower": None,
            "upper": 6.0, "acceptance_lower": None, "acceptance_upper": 5.835, "result": "PASS", "zone": "",
            **changes}


def test_captures_share_the_row_of_their_characteristic():
    (row,) = judged_rows({"judged": [_judged(), _judged(label="reverse 1500", value=3.0)]})
    assert (row.name, row.unit, row.tolerance) == ("thd.ab", "%", "≤ 6")
    assert [cell.value for cell in row.cells.values()] == ["2.00 ± 0.20", "3.00 ± 0.20"]


def test_two_limits_on_one_value_are_both_printed():
    rows = judged_rows({"judged": [_judged(), _judged(key="thd@forward 1500", upper=3.0), _judged(key="thd.ab")]})
    assert len(rows) == 3


def test_few_degrees_of_freedom_widen_the_printed_uncertainty():
    measured = [{"name": "thd.ab", "label": "forward 1500", "value": 2.0, "u": 0.1, "dof": 2.0, "unit": "%"}]
    (row,) = judged_rows({"judged": [_judged()], "measurements": measured})
    assert row.cells["forward 1500"].value == "2.00 ± 0.45"  # k = 4.53 for two degrees (JCGM 100, table G.2)


def test_fail_comes_before_no_result_before_pass():
    rows = judged_rows({"judged": [_judged("a"), _judged("b", result="NO RESULT", value=None),
                                   _judged("c", result="FAIL", value=9.0)]})
    assert [row.name for row in rows] == ["c", "b", "a"]


def test_value_without_acceptable_region_says_why():
    (row,) = judged_rows({"judged": [_judged(result="NO RESULT", zone="uncertainty too large",
                                             acceptance_upper=None)]})
    assert row.cells["forward 1500"].acceptance == "uncertainty too large"


def test_unknown_uncertainty_is_a_question_mark():
    (row,) = judged_rows({"judged": [_judged(u=None)]})
    assert row.cells["forward 1500"].value == "2 ± ?"


def test_measurement_is_printed_once_judged_or_not():
    measured = [{"name": n, "label": "forward 1500", "value": 2.0, "u": 0.1, "dof": None, "unit": "%"}
                for n in ("thd.ab", "thd.bc")]
    assert [row.name for row in other_rows({"judged": [_judged()], "measurements": measured})] == ["thd.bc"]


def test_captures_keep_the_order_of_the_test():
    rows = judged_rows({"judged": [_judged(label=label) for label in ("c", "a", "b")]})
    assert labels_of(rows, ["b", "a"]) == ["b", "a", "c"]
