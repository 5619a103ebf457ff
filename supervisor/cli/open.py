"""``holdwatch open``."""

from pathlib import Path

import click

from supervisor.cli.asking import ask_and_tell, open_all
from supervisor.cli.common import circuits, find_circuit, run_dir_option


@click.command()
@run_dir_option()
@click.option("--all", "every", is_flag=True, help="Every circuit of this machine.")
@click.option("--reason", default="", help="For the record.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON; with --all by folder.")
def command(run_dir: Path, every: bool, reason: str, as_json: bool) -> None:
    """Ask the daemon to open the contactor. Always allowed."""
    if every:
        open_all(circuits(run_dir) or [run_dir], reason, as_json=as_json)
    else:
        ask_and_tell(find_circuit(run_dir, for_all="--all"), "open", reason, as_json=as_json)
