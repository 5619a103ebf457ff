"""Drill results as JUnit XML, for CI servers."""

from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree as Xml

from supervisor.bench.drill import Result


def write_junit(results: Sequence[Result], path: Path) -> None:
    """Raises OSError when the file cannot be written."""
    failed = sum(not result.passed for result in results)
    suite = Xml.Element(
        "testsuite", name="holdwatch drill", tests=str(len(results)), failures=str(failed)
    )
    for result in results:
        case = Xml.SubElement(suite, "testcase", classname="drill", name=result.scenario)
        if not result.passed:
            failure = Xml.SubElement(case, "failure", message=result.failures[0])
            failure.text = "\n".join(result.failures)
    Xml.ElementTree(suite).write(path, encoding="utf-8", xml_declaration=True)
