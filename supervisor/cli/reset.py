"""``holdwatch reset``."""

from pathlib import Path

import click

from supervisor.cli.asking import ask_and_tell
from supervisor.cli.common import run_dir_option


@click.command()
@run_dir_option(of_running=True)
@click.option("--reason", required=True, help="What was found, and what was done about it.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(run_dir: Path, reason: str, as_json: bool) -> None:
    """Reset a lockout. Refused while its cause stands; the contactor stays open."""
    ask_and_tell(run_dir, "reset", reason, as_json=as_json)
