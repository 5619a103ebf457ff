"""What an explanation of a rule is made of, and where its typical values come from."""

from dataclasses import dataclass

PRACTICE = "common practice, no source"
MEMORY = "typical data sheet, from memory: your part's own sheet is above it"
REPORTS = "reports of people who run such parts"


@dataclass(frozen=True, slots=True)
class Typical:
    """A usual value of one setting, and where it comes from."""

    key: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class Class:
    """One kind of fault that a rule tells from others, and what it goes by."""

    name: str
    shows: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """One rule: ``function`` is its IEEE C37.2 number, empty where the standard has none.

    ``block`` is the dotted path of its settings; empty: below ``protection`` under its own key.
    Keys count from there; ``keys`` are those of the block that are the rule's, empty: all.
    """

    function: str
    meaning: str
    protects: str
    if_off: str
    typical: tuple[Typical, ...]
    classes: tuple[Class, ...] = ()
    block: str = ""
    keys: tuple[str, ...] = ()
