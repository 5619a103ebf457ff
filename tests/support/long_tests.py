"""What is left out but by --long: it takes minutes, and others like it are run."""

from collections.abc import Container

import pytest
from _pytest.mark import ParameterSet

# Drills of an hour or most of one, and of guidance more than of protection.
LONG = (
    "operator-asleep-guided",
    "operator-careful",
    "operator-careful-guided",
    "operator-hasty",
    "operator-hasty-guided",
    "pulsed-hold",
)


def long_but_for(name: str, short: Container[str]) -> ParameterSet:
    """A parameter, marked long unless it is one of the short ones."""
    marks = () if name in short else (pytest.mark.long,)
    return pytest.param(name, id=name, marks=marks)
