"""Every error tells what, where, expected, got and remedy, and the exit code that follows."""

import ast
import pickle
from pathlib import Path

import pytest

import station
import station.plant.plant_client
import station.screens.refusal  # with it and the line before, every error there is
from station import errors
from station.exit_code import ExitCode

PACKAGE = Path(station.__file__).parent


def _subclasses(kind):
    return {kind}.union(*(_subclasses(child) for child in kind.__subclasses__()))


def test_the_tree_is_drawn_whole():
    for kind in _subclasses(errors.StationError):
        assert kind.__name__ in errors.__doc__
        assert isinstance(kind.exit_code, ExitCode)


def test_the_text_holds_every_part():
    error = errors.BenchError("speed not reached", where="drive", expected="1500", got="900", remedy="Look.")
    assert all(part in str(error) for part in ("speed not reached", "drive", "1500", "900", "Look."))


@pytest.mark.parametrize("error", [
    errors.EvidenceError("file was altered", where="a.parquet", expected="1f", got="2e", remedy="Look."),
    errors.NoReplyError("no answer", where="drive", expected="a line", got=OSError(5, "lost"), remedy="Look."),
    errors.FileContractError([errors.Fault("a.toml", "limits", "none", "a table", "Add it."),
                              errors.Fault("a.toml", "type", "1", "a text", "Mend it.")]),
], ids=lambda error: type(error).__name__)
def test_an_error_comes_back_whole_from_another_process(error):
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (str(again), again.args, again.remedy) == (str(error), error.args, error.remedy)
    assert vars(again).keys() == vars(error).keys()
    assert getattr(again, "faults", ()) == getattr(error, "faults", ())


def test_every_raise_gives_a_remedy():
    made_of_others = {"FileContractError", "RefusedError", "GapError"}
    names = {kind.__name__ for kind in _subclasses(errors.StationError)} - made_of_others
    raised = 0
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call)):
                continue
            if getattr(node.exc.func, "id", getattr(node.exc.func, "attr", "")) not in names:
                continue
            raised += 1
            given = {keyword.arg for keyword in node.exc.keywords}
            assert {"where", "expected", "got", "remedy"} <= given or None in given, f"{path}:{node.lineno}"
    assert raised > 0


def test_the_manual_holds_the_same_exit_codes():
    readme = (PACKAGE.parent / "README.md").read_text(encoding="utf-8")
    rows = [line for line in readme.splitlines() if line.startswith("| ") and line.split("|")[1].strip().isdigit()]
    printed = {int(row.split("|")[1]): row.split("|")[2].strip() for row in rows}
    assert printed == {int(code): code.meaning for code in ExitCode}


@pytest.mark.parametrize(("kind", "number"), [
    (errors.UsageError, 2), (errors.BenchError, 3), (errors.StoppedError, 4), (errors.BenchNotFitError, 5),
    (errors.NotAllowedError, 6), (errors.EvidenceError, 7),
])
def test_exit_codes_of_errors(kind, number):
    assert kind.exit_code == number
