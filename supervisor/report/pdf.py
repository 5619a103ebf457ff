"""The same page as PDF. Nothing outside the page is fetched."""

from pathlib import Path
from typing import Any

from supervisor.report.mark import pdf_identifier

REMEDY = (
    "holdwatch: a PDF needs WeasyPrint: pip install 'holdwatch[report]', and on Debian"
    " apt install libpango-1.0-0 libpangoft2-1.0-0; or print the HTML file from a browser"
)


class NoPdf(Exception):
    """Says what to install."""


def write_pdf(html: str, path: Path, mark: str) -> None:
    """``mark``: of the report, to be found again."""
    try:
        from weasyprint import HTML  # noqa: PLC0415  # heavy, and may be missing
    except (ImportError, OSError):  # OSError: its Debian packages
        raise NoPdf(REMEDY) from None
    HTML(string=html, url_fetcher=_refuse).write_pdf(path, pdf_identifier=pdf_identifier(mark))


def _refuse(url: str, *_: Any, **__: Any) -> dict[str, Any]:
    raise ValueError(f"a report stands alone and fetches nothing: {url}")
