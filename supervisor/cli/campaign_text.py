"""The report of a campaign for people."""

from rich.console import Console
from rich.table import Table

from supervisor.bench.campaign.report import Report

SHOWN = 10  # runs by number, of those beyond reach


def print_report(report: Report) -> None:
    console = Console(highlight=False)
    console.print(_coverage(report))
    console.print(
        "min, median, max: seconds from a fault to no current, in runs in which it was the newest "
        "before the trip. A run counts in the row of each of its faults; struck too late: it was "
        "locked out already."
    )
    if refused := sum(run.refused for run in report.runs):
        console.print(f"{refused} drawn settings were refused by `check`, and drawn anew.")
    for fact, runs in report.beyond_reach().items():
        more = ", ..." if len(runs) > SHOWN else ""
        listed = ", ".join(map(str, runs[:SHOWN]))
        console.print(f"beyond reach, {len(runs)} runs: {fact} (run {listed}{more})")
    for run in report.violations:
        faults = ", ".join(run.faults) or "no fault"
        console.print(f"VIOLATION seed {run.seed} run {run.run}: {faults}; operator {run.operator}")
        for text in run.violations:
            console.print(f"  {text}", markup=False)
        if run.run in report.files:
            console.print(f"  saved as {report.files[run.run]}", markup=False)


def _coverage(report: Report) -> Table:
    table = Table(title=f"Campaign, seed {report.seed}: {len(report.runs)} runs")
    table.add_column("fault")
    table.add_column("outcome")
    for name in ("runs", "min", "median", "max"):
        table.add_column(name, justify="right")
    table.add_column("tripped by")
    for row in report.coverage():
        times = (row.response_min_s, row.response_median_s, row.response_max_s)
        shown = ["-" if time_s is None else f"{time_s:.2f}" for time_s in times]
        rules = ", ".join(f"{rule} {runs}" for rule, runs in row.tripped_by.items())
        table.add_row(row.fault, row.outcome, str(row.runs), *shown, rules)
    return table
