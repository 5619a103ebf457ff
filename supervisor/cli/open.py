"""``holdwatch open``."""

from pathlib import Path

import click

from supervisor.cli.asking import ask_and_tell
from supervisor.cli.common import run_dir_option


@click.command()
@run_dir_option(of_running=True)
@click.option("--reason", default="", help="For the record.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(run_dir: Path, reason: str, as_json: bool) -> None:
    """Ask the daemon to open the contactor. Always allowed."""
    ask_and_tell(run_dir, "open", reason, as_json=as_json)
