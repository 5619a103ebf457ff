"""Templates to HTML. Everything that comes from a record or from settings is escaped."""

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from supervisor import __version__
from supervisor.report import words
from supervisor.report.sound import showable

TEMPLATES = Path(__file__).parent / "templates"


def render(template: str, **context: Any) -> str:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        utc=words.utc,
        minute=words.minute,
        duration=words.duration,
        plain=words.plain,
        millivolts=words.millivolts,
        breakable=words.breakable,
    )
    environment.globals.update(number=words.number)
    return showable(environment.get_template(template).render(version=__version__, **context))
