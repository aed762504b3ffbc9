"""The report on the page: the same filters, numbers and paper as `matline report`."""

from __future__ import annotations

import io
import tempfile
import threading
import zipfile
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote

from fastapi import FastAPI, Query, Response
from fastapi.responses import FileResponse, HTMLResponse

from pipeline.library import Library
from pipeline.outputs.text import file_stem
from pipeline.review import messages
from pipeline.review.gate import SECURITY_HEADERS
from pipeline.timeline import State

if TYPE_CHECKING:
    from pipeline.outputs.study import Study

Asked = Annotated[messages.ReportAsked, Query()]

PAPER_HEADERS = {
    # The report has its styles within, and no script; only our own page may show it in a frame.
    "content-security-policy": (
        "default-src 'none'; style-src 'unsafe-inline'; form-action 'none'; base-uri 'none'; "
        "frame-ancestors 'self'"
    ),
    "x-frame-options": "SAMEORIGIN",
}
PAGE_HEADERS = {
    "content-security-policy": SECURITY_HEADERS["content-security-policy"] + "; frame-src 'self'"
}
_DRAWING = threading.Lock()
"""Settings of the plotting library are shared by all threads."""


def add_report(app: FastAPI, library: Library, static: FilePath) -> None:
    """Add the report's page and what it shows."""

    @app.get("/report", include_in_schema=False)
    def report_page() -> FileResponse:
        return FileResponse(static / "report.html", headers=PAGE_HEADERS)

    @app.get("/api/report/choice")
    def report_choice(asked: Asked) -> messages.ReportChoice:
        """Return what a report would be of, without making it."""
        chosen = _study(library, asked).bouts
        return messages.ReportChoice(
            bouts=len(chosen),
            studied_s=sum(one.studied_s for one in chosen),
            left_out_s=sum(one.left_out_s for one in chosen),
            left_out_moments=sum(one.left_out_moments for one in chosen),
        )

    @app.get("/api/report", response_class=Response)
    def report(asked: Asked) -> HTMLResponse:
        """Return the report as a page of its own, which also prints."""
        from pipeline.outputs.study import report_html

        study = _study(library, asked)
        with _DRAWING:
            text = report_html(study)
        return HTMLResponse(text, headers=PAPER_HEADERS | _named(asked, ".html", "inline"))

    @app.get("/api/report/tables", response_class=Response)
    def report_tables(asked: Asked) -> Response:
        """Return the report's tables as CSV files in a ZIP archive."""
        study = _study(library, asked)
        out = io.BytesIO()
        with (
            tempfile.TemporaryDirectory() as folder,
            zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive,
        ):
            for path in study.write_csv(FilePath(folder)):
                archive.write(path, path.name)
        headers = _named(asked, ".zip", "attachment")
        return Response(out.getvalue(), media_type="application/zip", headers=headers)


def _study(library: Library, asked: messages.ReportAsked) -> Study:
    # Imported when needed: the plotting library takes its time, and correcting can do without.
    from pipeline.outputs.study import VOUCHED, Selection, Study, select

    given = asked.model_dump()
    bouts, proposals = tuple(given.pop("bout")), given.pop("proposals")
    states = frozenset(State) if proposals else VOUCHED
    return Study.of(select(library, Selection(bouts, states=states, **given)))


def _named(asked: messages.ReportAsked, suffix: str, how: str) -> dict[str, str]:
    words = [asked.athlete, asked.opponent, asked.event, asked.since, asked.until]
    name = file_stem(" ".join(filter(None, words)), "report")
    return {"content-disposition": f"{how}; filename*=UTF-8''{quote(name + suffix)}"}
