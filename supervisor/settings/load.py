"""A settings file to checked settings, or every fault in it at once."""

import json
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from supervisor.settings.cross_checks import contradictions
from supervisor.settings.document import Document, KeyPath
from supervisor.settings.faults import SettingsFaults
from supervisor.settings.model import SupervisorSettings
from supervisor.settings.schema_faults import schema_faults
from supervisor.settings.source import read_text
from supervisor.settings.text import parse

M = TypeVar("M", bound=BaseModel)


def load_settings(path: Path) -> tuple[SupervisorSettings, Document]:
    """The settings in a file, and the document for faults found later.

    Raises SettingsFaults with everything that is wrong with the file.
    """
    document = read_document(path)
    return settings_from(document), document


def read_document(path: Path) -> Document:
    """A YAML file as plain data with lines.

    Faults of single values are in the document and raised by ``validate``. Raises SettingsFaults
    when the file as a whole cannot be read.
    """
    return parse(read_text(path), str(path))


def settings_from(document: Document) -> SupervisorSettings:
    """The settings in a document. Raises SettingsFaults, contradictions included."""
    settings = validate(SupervisorSettings, document)
    if found := contradictions(settings):
        raise SettingsFaults(document.fault(*contradiction) for contradiction in found)
    return settings


def validate(model: type[M], document: Document, base_path: KeyPath = ()) -> M:
    """The part of a document at ``base_path`` as a model.

    Raises SettingsFaults with the faults of the text and all that the model refuses.
    """
    faults = list(document.faults)
    try:
        # As JSON, because strict Python input has no way to write a tuple down.
        validated = model.model_validate_json(json.dumps(_part(document.data, base_path)))
    except ValidationError as error:
        errors = error.errors(include_url=False)
        faults += schema_faults(model, document, base_path, errors)
    if faults:
        raise SettingsFaults(faults)
    return validated


def _part(data: Any, path: KeyPath) -> Any:
    """The data at a path; None when there is nothing."""
    for key in path:
        data = data.get(key) if isinstance(data, dict) else None
    return data
