"""`station study`: from stored tests to limits that can be defended; each study has a file of its own beside this."""

import typer

from station.cli import study_drift, study_gauge, study_risk, study_type, study_what_if

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None,
                  help="Study stored tests: distributions, gauge, drift, and what other limits would have done.")


@app.callback()
def _group() -> None:
    """Study stored tests."""


app.add_typer(study_gauge.app, name="gauge")
app.command("drift")(study_drift.study_drift)
app.command("risk")(study_risk.risk)
app.command("type")(study_type.study_type)
app.command("what-if")(study_what_if.what_if)
