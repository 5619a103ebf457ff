"""Templates to HTML. Everything that comes from a record or from settings is escaped."""

import re
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from supervisor import __version__
from supervisor.report import words

TEMPLATES = Path(__file__).parent / "templates"
UNSHOWABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")


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
        begin=words.capital,
        millivolts=words.millivolts,
        breakable=words.breakable,
    )
    environment.globals.update(number=words.number)
    page = environment.get_template(template).render(version=__version__, **context)
    return UNSHOWABLE.sub("\N{REPLACEMENT CHARACTER}", page)
