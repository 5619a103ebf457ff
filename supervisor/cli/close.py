"""``holdwatch close``."""

from pathlib import Path

import click

from supervisor.cli.asking import ask_and_tell
from supervisor.cli.common import run_dir_option


@click.command()
@run_dir_option(of_running=True)
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(run_dir: Path, as_json: bool) -> None:
    """Ask the daemon to close the contactor. It refuses while anything stands in the way."""
    ask_and_tell(run_dir, "close", as_json=as_json)
