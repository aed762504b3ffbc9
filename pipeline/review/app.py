"""The page's server: routes, each a thin line over the desk."""

from __future__ import annotations

import secrets
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path as FilePath
from typing import Annotated
from urllib.parse import quote

import numpy as np
from fastapi import FastAPI, Path, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse
from fastapi.staticfiles import StaticFiles

from pipeline.errors import MatlineError
from pipeline.library import Bout, Conflict, Library
from pipeline.moments import RuleSet, rule_sets
from pipeline.outputs import segments_to_csv, timeline_to_webvtt
from pipeline.outputs.text import file_stem
from pipeline.review import messages
from pipeline.review.copies import Copies
from pipeline.review.desk import Desk
from pipeline.review.gate import Gate, cookie_name, matches
from pipeline.review.keeping import Spent
from pipeline.review.mats import corrected, footage_key, how_to_read_again, keep_mat, neighbours
from pipeline.review.night import last_night
from pipeline.review.pictures import (
    NotHereError,
    footage_info,
    footage_response,
    picture_times,
    playable,
    still,
)
from pipeline.review.reporting import add_report
from pipeline.settings import ReviewSettings
from pipeline.text import printable
from pipeline.timeline import BY_KEY, MOMENT_KINDS, Correction

STATIC = FilePath(str(files("pipeline.review") / "static"))

BoutId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Seconds = Annotated[float, Query(ge=0, le=1e6, allow_inf_nan=False)]

PROBLEMS: dict[int | str, dict[str, object]] = {
    status: {"model": messages.Problem, "description": meaning}
    for status, meaning in {
        400: "The request can't be read at all.",
        401: "The token is missing.",
        404: "There is no such bout.",
        409: "Another window changed the bout in between; load it again.",
        413: "Too large.",
        422: "Something in the request is not as described.",
    }.items()
}


def create_app(library: Library, token: str, settings: ReviewSettings | None = None) -> FastAPI:
    """Build the server of the correcting page.

    Parameters
    ----------
    library : Library
        What it shows and corrects.
    token : str
        The secret without which nothing of the library is shown.
    settings : ReviewSettings, optional

    Returns
    -------
    FastAPI
        An ASGI app. Its OpenAPI document is at ``/api/openapi.json``, for who has the token.
    """
    settings = settings or ReviewSettings()
    app = FastAPI(
        title="Matline review",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        responses=PROBLEMS,
    )
    _handle_errors(app)
    session = secrets.token_urlsafe(32)
    _add_pages(app, token, session)
    desk = Desk(library, settings)
    _add_library(app, desk)
    _add_pictures(app, desk, settings)
    _add_corrections(app, desk)
    _add_work(app, desk)
    _add_exports(app, desk)
    add_report(app, library, STATIC)
    app.add_middleware(Gate, token=token, session=session, max_body_bytes=settings.max_body_bytes)
    return app


def _handle_errors(app: FastAPI) -> None:
    def sentence(status: int, error: Exception) -> JSONResponse:
        return JSONResponse({"detail": str(error)}, status)

    @app.exception_handler(Conflict)
    def conflict(request: Request, error: Exception) -> JSONResponse:
        return sentence(409, error)

    @app.exception_handler(NotHereError)
    def not_here(request: Request, error: Exception) -> JSONResponse:
        return sentence(404, error)

    @app.exception_handler(MatlineError)
    def user_error(request: Request, error: Exception) -> JSONResponse:
        return sentence(422, error)

    @app.exception_handler(RequestValidationError)
    def bad_request(request: Request, error: RequestValidationError) -> JSONResponse:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        return JSONResponse({"detail": f"{where}: {first['msg']}."}, 422)


def _add_pages(app: FastAPI, token: str, session: str) -> None:
    app.mount("/static", StaticFiles(directory=STATIC), name="static")

    @app.get("/", include_in_schema=False)
    def library_page() -> FileResponse:
        return FileResponse(STATIC / "index.html")

    @app.get("/bouts/{bout_id}", include_in_schema=False)
    def bout_page(bout_id: BoutId) -> FileResponse:
        return FileResponse(STATIC / "bout.html")

    @app.post("/api/session", status_code=204)
    def open_session(given: messages.Token) -> Response:
        """Exchange the token of the printed link for a cookie that scripts can't read."""
        if not matches(given.token, token):
            return JSONResponse({"detail": "That link is old; use the newest one."}, 401)
        answer = Response(status_code=204)
        answer.set_cookie(
            cookie_name(token), session, httponly=True, samesite="strict", path="/api"
        )
        return answer


def _add_library(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/words")
    def words() -> dict[str, list[dict[str, object]]]:
        """Return the positions, the kinds of moments and the rule sets."""
        return {
            "positions": [
                {"key": p.key, "name": p.name, "meaning": p.meaning, "has_top": p.has_top}
                for p in BY_KEY.values()
            ],
            "moments": [{"key": k, "name": k.replace("_", " ")} for k in MOMENT_KINDS],
            "rules": [{"key": k, "name": RuleSet.load(k).name} for k in rule_sets()],
        }

    @app.get("/api/bouts")
    def bouts() -> list[messages.BoutOut]:
        """Return all bouts."""
        return [_shown(bout) for bout in desk.library.bouts()]

    @app.get("/api/night")
    def night() -> messages.NightOut | None:
        """Return what became of the files that were read last; null if there were none."""
        return last_night(desk.library)

    @app.get("/api/bouts/{bout_id}")
    def bout(bout_id: BoutId) -> messages.BoutOut:
        """Return one bout."""
        return _shown(_bout(desk, bout_id))

    @app.patch("/api/bouts/{bout_id}")
    def change_bout(bout_id: BoutId, change: messages.BoutChange) -> messages.BoutOut:
        """Change who fights, when and where."""
        _bout(desk, bout_id)
        details = change.model_dump(exclude_none=True)
        if details.get("we") == "nobody":
            details["we"] = None
        return _shown(desk.library.update_bout(bout_id, **details))


def _add_pictures(app: FastAPI, desk: Desk, settings: ReviewSettings) -> None:
    @app.api_route("/api/bouts/{bout_id}/video", methods=["GET", "HEAD"], include_in_schema=False)
    def video(bout_id: BoutId) -> Response:
        """Return the footage, or its copy for browsers; ranges are understood."""
        return footage_response(_bout(desk, bout_id))

    copies = Copies(desk.library)

    @app.get("/api/bouts/{bout_id}/playing")
    def playing(bout_id: BoutId) -> messages.PlayingOut:
        """Return whether the picture can be shown; a copy is begun where a browser needs one."""
        return messages.PlayingOut(**asdict(copies.playing(_bout(desk, bout_id))))

    @app.get("/api/bouts/{bout_id}/frame-size")
    def frame_size(bout_id: BoutId) -> messages.FrameSizeOut:
        """Return the size of the original's picture, which keypoints refer to."""
        info = footage_info(_bout(desk, bout_id).footage)
        return messages.FrameSizeOut(width=info.width, height=info.height)

    @app.get("/api/bouts/{bout_id}/mat")
    def mat(bout_id: BoutId) -> messages.MatOut:
        """Return the mat that counts in the bout's footage."""
        bout = _bout(desk, bout_id)
        corners = [[x, y] for x, y in desk.library.mat(footage_key(bout))]
        return messages.MatOut(corners=corners, neighbours=len(neighbours(desk.library, bout)))

    @app.put("/api/bouts/{bout_id}/mat")
    def set_mat(bout_id: BoutId, given: messages.MatIn) -> messages.MatKeptOut:
        """Choose the mat that counts, if wanted for all files of the same camera."""
        bout = _bout(desk, bout_id)
        corners = tuple((x, y) for x, y in given.corners)
        kept = keep_mat(desk.library, bout, corners, given.same_camera)
        return messages.MatKeptOut(
            files=len(kept),
            advice=how_to_read_again(desk.library, kept),
            corrected=corrected(desk.library, kept),
        )

    @app.get("/api/bouts/{bout_id}/cameras")
    def cameras(bout_id: BoutId) -> list[messages.CameraOut]:
        """Return the other cameras' views of the same fight."""
        found = desk.library.cameras(_bout(desk, bout_id).id)
        return [
            messages.CameraOut(id=one, title=desk.library.bout(one).title, offset_s=offset_s)
            for one, offset_s in found.items()
        ]

    @app.get("/api/bouts/{bout_id}/frames", response_class=Response)
    def frames(bout_id: BoutId, start_s: Seconds, end_s: Seconds) -> Response:
        """Return the times of the stored pictures in a stretch, float64 little-endian."""
        end_s = min(end_s, start_s + settings.max_window_s)
        times = picture_times(_bout(desk, bout_id).footage, start_s, end_s)
        return Response(times.astype("<f8").tobytes(), media_type="application/octet-stream")

    @app.get("/api/bouts/{bout_id}/still", response_class=Response)
    def still_picture(bout_id: BoutId, time_s: Seconds) -> Response:
        """Return the stored picture of a time as JPEG, for where a browser can't seek to it."""
        return Response(still(_bout(desk, bout_id).footage, time_s), media_type="image/jpeg")

    @app.get("/api/bouts/{bout_id}/samples")
    def samples(bout_id: BoutId) -> messages.SamplesOut:
        """Return the times of all samples."""
        return messages.SamplesOut(time_s=desk.samples(_bout(desk, bout_id)).times.tolist())

    @app.get("/api/bouts/{bout_id}/trace")
    def trace(
        bout_id: BoutId,
        start_s: Seconds = 0,
        end_s: Seconds = 1e6,
        buckets: Annotated[int, Query(ge=1, le=4000)] = 1500,
    ) -> messages.TraceOut:
        """Return both athletes' hip heights over a stretch, thinned for drawing."""
        return messages.TraceOut(**desk.trace(_bout(desk, bout_id), start_s, end_s, buckets))

    @app.get("/api/bouts/{bout_id}/keypoints", response_class=Response)
    def keypoints(bout_id: BoutId, start_s: Seconds, end_s: Seconds) -> Response:
        """Return keypoints of a stretch, little-endian: float64 N, N float64 times, N × 2 × 17 × 3
        float32 (x, y in source pixels, confidence; NaN = not seen; first A, then B)."""
        end_s = min(end_s, start_s + settings.max_window_s)
        times, points = desk.keypoints(_bout(desk, bout_id), start_s, end_s)
        parts = (np.array([len(times)], "<f8"), times.astype("<f8"), points.astype("<f4"))
        return Response(b"".join(p.tobytes() for p in parts), media_type="application/octet-stream")


def _add_corrections(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/bouts/{bout_id}/timeline")
    def timeline(bout_id: BoutId) -> messages.TimelineOut:
        """Return the timeline as it stands."""
        _bout(desk, bout_id)
        return messages.TimelineOut(**desk.standing(bout_id))

    @app.post("/api/bouts/{bout_id}/corrections")
    def correct(bout_id: BoutId, given: messages.CorrectionIn) -> messages.ChangeOut:
        """Make one correction and keep it at once."""
        _bout(desk, bout_id)
        correction = Correction(given.action, dict(given.arguments))
        desk.keeping.add(bout_id, Spent(**given.effort.model_dump()))
        change = desk.change(
            bout_id, lambda: desk.library.append(bout_id, correction, given.expected_revision)
        )
        return messages.ChangeOut(**change)

    @app.post("/api/bouts/{bout_id}/undo")
    def undo(bout_id: BoutId, given: messages.StepIn) -> messages.ChangeOut:
        """Take the last correction back, or so many."""
        _bout(desk, bout_id)
        desk.keeping.add(bout_id, Spent(**given.effort.model_dump()))
        change = desk.undo(bout_id, given.expected_revision, given.times)
        return messages.ChangeOut(**change)

    @app.post("/api/bouts/{bout_id}/redo")
    def redo(bout_id: BoutId, given: messages.StepIn) -> messages.ChangeOut:
        """Make the last undone correction again, or so many."""
        _bout(desk, bout_id)
        desk.keeping.add(bout_id, Spent(**given.effort.model_dump()))
        change = desk.redo(bout_id, given.expected_revision, given.times)
        return messages.ChangeOut(**change)


def _add_work(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/bouts/{bout_id}/work")
    def work(bout_id: BoutId) -> messages.WorkOut:
        """Return what to look at, where a look pays most first, and how far the work is."""
        return messages.WorkOut(**desk.work(_bout(desk, bout_id)))

    @app.post("/api/bouts/{bout_id}/effort", status_code=204)
    def effort(bout_id: BoutId, spent: messages.Effort) -> Response:
        """Add time, keys and clicks that came to no correction."""
        _bout(desk, bout_id)
        desk.keeping.add(bout_id, Spent(**spent.model_dump()))
        return Response(status_code=204)

    @app.get("/api/bouts/{bout_id}/score")
    def score(bout_id: BoutId) -> messages.Score:
        """Return the scoreboard as written by hand."""
        _bout(desk, bout_id)
        return messages.Score.model_validate({"lines": desk.keeping.score(bout_id)})

    @app.put("/api/bouts/{bout_id}/score")
    def set_score(bout_id: BoutId, score: messages.Score) -> messages.Score:
        """Keep the scoreboard."""
        _bout(desk, bout_id)
        desk.library.check_writable()
        desk.keeping.set_score(bout_id, score.model_dump()["lines"])
        return score

    @app.get("/api/bouts/{bout_id}/points")
    def points(bout_id: BoutId) -> messages.PointsOut:
        """Return proposed points under the bout's rule set; a study aid."""
        return messages.PointsOut(**desk.points(_bout(desk, bout_id)))


def _add_exports(app: FastAPI, desk: Desk) -> None:
    def attached(text: str, bout: Bout, suffix: str, media_type: str) -> Response:
        name = file_stem(bout.title, bout.id)
        disposition = f"attachment; filename*=UTF-8''{quote(name + suffix)}"
        return Response(text, media_type=media_type, headers={"content-disposition": disposition})

    @app.get("/api/bouts/{bout_id}/export.csv", response_class=Response)
    def segments_csv(bout_id: BoutId) -> Response:
        """Return the segments as CSV."""
        bout = _bout(desk, bout_id)
        text = segments_to_csv(desk.library.timeline(bout_id).segments)
        return attached(text, bout, ".segments.csv", "text/csv")

    @app.get("/api/bouts/{bout_id}/export.vtt", response_class=Response)
    def webvtt(bout_id: BoutId) -> Response:
        """Return segments and moments as WebVTT cues."""
        bout = _bout(desk, bout_id)
        text = timeline_to_webvtt(desk.library.timeline(bout_id))
        return attached(text, bout, ".vtt", "text/vtt")


def _bout(desk: Desk, bout_id: str) -> Bout:
    try:
        return desk.library.bout(bout_id)
    except MatlineError as error:
        raise NotHereError(str(error)) from error


def _shown(bout: Bout) -> messages.BoutOut:
    return messages.BoutOut(
        id=bout.id,
        title=bout.title,
        footage=printable(bout.footage.name),
        has_footage=playable(bout).is_file(),
        duration_s=bout.duration_s,
        start_s=bout.start_s,
        end_s=bout.end_s,
        names=messages.Names(**bout.names),
        we=bout.we,
        event=bout.event,
        date=bout.date,
        ruleset=bout.ruleset,
        reader=bout.reader,
        counts=bout.counts,
        revision=bout.revision,
    )
