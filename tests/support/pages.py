"""A page of the report, as its reader sees it."""

import re
from html import unescape


def silent(_text: str) -> None:
    """Nobody looks."""


def words(page: str) -> str:
    return unescape(" ".join(re.sub(r"<[^>]*>", " ", page).split()))


def rows_of(page: str) -> list[list[str]]:
    """Of its tables, as text."""
    cells = (re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in page.split("<tr>"))
    return [[words(cell) for cell in row] for row in cells]
