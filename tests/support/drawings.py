"""What can be read in the plots of a report."""

import xml.etree.ElementTree as ET

from supervisor.report.canvas import FORMATS

SVG = "{http://www.w3.org/2000/svg}"


def drawings(markup: str) -> dict[str, ET.Element]:
    """By the names of their formats."""
    found = ET.fromstring(f"<div>{markup}</div>").findall(f"{SVG}svg")
    assert [one.get("class") for one in found] == [form.name for form in FORMATS]
    return {str(one.get("class")): one for one in found}


def texts(drawing: ET.Element) -> list[str]:
    """From its beginning to its end, lines of one text apart."""
    return ["".join(text.itertext()).strip() for text in drawing.iter(f"{SVG}text")]


def said(markup: str) -> str:
    """All of it, in one line; the same in every format, but for how lines are broken."""
    return " ".join(texts(drawings(markup)["broad"]))
