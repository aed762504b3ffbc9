"""What the page and the server say to each other; also the source of the OpenAPI document."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

Seconds = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
ShortText = Annotated[str, Field(max_length=200)]
Identity = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
AthleteLetter = Literal["A", "B"]


class Message(BaseModel):
    """What must be exactly as described: an unknown field is a mistake, not a surprise."""

    model_config = ConfigDict(extra="forbid", strict=True)


class Problem(BaseModel):
    """One sentence that says what was wrong and what to do."""

    detail: str


class Token(Message):
    """The secret of the printed link, handed in once."""

    token: Annotated[str, Field(max_length=200)]


class Names(Message):
    """The athletes' names; empty where not given."""

    A: ShortText = ""
    B: ShortText = ""


class BoutOut(BaseModel):
    """A bout as the page shows it."""

    id: str
    title: str
    footage: str
    has_footage: bool
    duration_s: float
    start_s: float
    end_s: float
    names: Names
    we: AthleteLetter | None
    event: str
    date: str
    ruleset: str
    reader: str
    counts: dict[str, int]
    revision: int


class ReportAsked(BaseModel):
    """Which bouts a report is of; empty fields ask for nothing. As `matline report` takes them."""

    model_config = ConfigDict(extra="forbid")

    bout: Annotated[list[Identity], Field(max_length=500)] = []
    athlete: ShortText = ""
    opponent: ShortText = ""
    event: ShortText = ""
    ruleset: ShortText = ""
    since: Annotated[str, Field(max_length=10)] = ""
    until: Annotated[str, Field(max_length=10)] = ""
    proposals: bool = False


class ReportChoice(BaseModel):
    """What a report would be of: how many bouts, what counts of them and what is left out."""

    bouts: int
    studied_s: float
    left_out_s: float
    left_out_moments: int


class NightBout(BaseModel):
    """A bout that a night's file holds."""

    id: str
    title: str


class NightSpot(BaseModel):
    """A place of a bout that is worth opening in the morning."""

    bout: str
    at_s: float
    time_s: float
    why: Literal["elevation", "scoring", "unsure"]
    what: str


class NightFile(BaseModel):
    """What became of one file, and what to do about it."""

    name: str
    became: Literal["read", "known", "failed", "unfinished"]
    facts: str
    bouts: list[NightBout]
    spots: list[NightSpot]


class NightOut(BaseModel):
    """What the last night made of each file, where a look pays most first."""

    at: str
    ended: bool
    total: str
    files: list[NightFile]


class BoutChange(Message):
    """Details of a bout to change; what is left out stays."""

    title: ShortText | None = None
    names: Names | None = None
    we: AthleteLetter | Literal["nobody"] | None = None
    event: ShortText | None = None
    date: Annotated[str, Field(pattern=r"^(\d{4}-\d{2}-\d{2})?$")] | None = None
    ruleset: ShortText | None = None


class Effort(Message):
    """What the human spent since the last message."""

    seconds: Annotated[float, Field(ge=0, le=86_400, allow_inf_nan=False)] = 0
    keys: Annotated[int, Field(ge=0, le=100_000)] = 0
    clicks: Annotated[int, Field(ge=0, le=100_000)] = 0


class SpentOut(BaseModel):
    """All that the human spent on a bout so far."""

    seconds: float
    keys: int
    clicks: int


class CorrectionIn(Message):
    """One correction, made on a revision."""

    action: Annotated[str, Field(max_length=40)]
    arguments: dict[Annotated[str, Field(max_length=40)], JsonValue] = Field(default_factory=dict)
    expected_revision: Annotated[int, Field(ge=0, le=2**53)]
    effort: Effort = Effort()


class StepIn(Message):
    """An undo or a redo, asked for on a revision; of so many corrections."""

    expected_revision: Annotated[int, Field(ge=0, le=2**53)]
    times: Annotated[int, Field(ge=1, le=100_000)] = 1
    effort: Effort = Effort()


class Bounds(BaseModel):
    """Where a human said the bout starts and ends."""

    start_s: float
    end_s: float


class TimelineOut(BaseModel):
    """A whole timeline, as corrected.

    `undoes` and `redoes`: how many corrections were made in one go before the next undo or redo;
    0 where there is none, and more than 1 after an import.
    """

    revision: int
    undoes: int
    redoes: int
    bounds: Bounds | None
    segments: list[dict[str, Any]]
    moments: list[dict[str, Any]]


class SteppedOut(BaseModel):
    """The first of the corrections that an undo took back or a redo made again."""

    count: int
    action: str
    arguments: dict[str, Any]


class ChangeOut(TimelineOut):
    """What a correction changed; everything else stays as the page has it."""

    gone: list[str]
    athletes_turned: bool
    stepped: SteppedOut | None = None


class TraceOut(BaseModel):
    """Hip heights in trunk lengths, thinned for drawing; None where not seen."""

    time_s: list[float]
    A: list[float | None]
    B: list[float | None]
    seen: list[float | None]


class PlayingOut(BaseModel):
    """Whether the picture can be shown, or how much of a copy for browsers is made."""

    state: Literal["ready", "making", "missing", "failed"]
    share: float
    problem: str


class PointOut(BaseModel):
    """Points proposed for a moment."""

    time_s: float
    athlete: AthleteLetter
    points: int
    what: str


class PointsOut(BaseModel):
    """Proposed points under a rule set; a study aid."""

    rules: str
    edition: str
    caution: str
    points: list[PointOut]
    came_close: int


class SamplesOut(BaseModel):
    """Times of all samples, seconds from the first picture."""

    time_s: list[float]


class FrameSizeOut(BaseModel):
    """Pixels of the picture that keypoints refer to."""

    width: int
    height: int


Pixels = Annotated[float, Field(ge=-100_000, le=100_000, allow_inf_nan=False)]
Corner = Annotated[list[Pixels], Field(min_length=2, max_length=2)]


class MatIn(Message):
    """The mat that counts, in pixels of the original's picture; no corners: all of it does."""

    corners: Annotated[list[Corner], Field(max_length=40)]
    same_camera: bool = False


class MatOut(BaseModel):
    """The mat that counts, and how many other files may be of the same camera."""

    corners: list[Corner]
    neighbours: int


class MatKeptOut(BaseModel):
    """For how many files the mat was kept, and the command that reads them with it.

    `corrected`: bouts in them that were corrected; once read again they show a new proposal.
    """

    files: int
    advice: str
    corrected: int


class CameraOut(BaseModel):
    """Another camera's view of the same fight: it shows t at t + offset_s."""

    id: str
    title: str
    offset_s: float


class LookOut(BaseModel):
    """A segment to look at, and why."""

    id: str
    reasons: list[str]


class AuditOut(BaseModel):
    """How many confident proposals were checked, and a 95 % interval of the right ones' share."""

    chosen: int
    answered: int
    right: int
    low: float
    high: float


class WorkOut(BaseModel):
    """What to look at, best first; how good the confident proposals are; the effort so far."""

    order: list[LookOut]
    audit: AuditOut
    effort: SpentOut


class ScoreLine(Message):
    """One entry of the scoreboard, written by hand."""

    time_s: Seconds
    athlete: AthleteLetter
    points: Annotated[int, Field(ge=-20, le=20)]
    what: ShortText = ""


class Score(Message):
    """The scoreboard as the human wrote it."""

    lines: Annotated[list[ScoreLine], Field(max_length=200)]
