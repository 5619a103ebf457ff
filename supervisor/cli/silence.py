"""``holdwatch silence``."""

from pathlib import Path

import click

from supervisor.cli.asking import ask_and_tell
from supervisor.cli.common import run_dir_option


@click.command()
@run_dir_option(of_running=True)
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
def command(run_dir: Path, as_json: bool) -> None:
    """Keep the buzzer quiet for a while; cues and alarms are still shown, and sound again after."""
    ask_and_tell(run_dir, "silence", as_json=as_json)
