"""Many files, unattended: plan, work, say in the morning what became of each."""

from __future__ import annotations

import math
import shutil
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pipeline.bodies import Mat
from pipeline.errors import MatlineError
from pipeline.footage import FootageInfo, needs_proxy
from pipeline.library import Bout, Library
from pipeline.overnight.chunk import Chunk
from pipeline.overnight.engine import Engine, Outcome, Task, unforeseen
from pipeline.overnight.found import Found, find_files
from pipeline.overnight.lock import reading_lock
from pipeline.overnight.morning import keep_summary
from pipeline.overnight.pace import keep_speed, known_speed
from pipeline.overnight.plan import Plan, PlannedFile, check_disk
from pipeline.overnight.reading import Reading, settings_hash
from pipeline.overnight.store import ChunkStore, reading_key
from pipeline.overnight.summary import FileOutcome, Summary, read_outcome
from pipeline.overnight.unfinished import remove_unfinished
from pipeline.overnight.work import (
    BoutReading,
    keep_chunk,
    keep_copy,
    look_at,
    put_together,
    reader_of,
)
from pipeline.settings import Corners, Settings
from pipeline.text import printable

_LOOK_S = 0.5
"""Seconds between looks at the clock while workers work."""

_COPY = object()
"""What a task is about that makes a copy for browsers."""

_FULL_BYTES = 64 << 20
"""With less free space than this every further write would fail too."""


@dataclass(frozen=True)
class Order:
    """What is asked of a night.

    Attributes
    ----------
    library : Library
    settings : Settings
    backend : str
        Which reader of bodies.
    again : bool
        Read also what was read before with the same settings, or corrected.
    whole : bool
        Keep each file one bout, however many it seems to hold.
    until : float or None
        Wall-clock time (seconds since the epoch) after which no new piece is begun.
    mat : tuple of (x, y) or None
        Corners of the mat that counts in all these files, kept with each; empty: the whole picture
        counts again. None: as it was kept.
    copies : bool
        At the end, make the copies that browsers need of footage they can't play.
    """

    library: Library
    settings: Settings = field(default_factory=Settings)
    backend: str = "pair"
    again: bool = False
    whole: bool = False
    until: float | None = None
    mat: Corners | None = None
    copies: bool = True

    @property
    def store_root(self) -> Path:
        """Where read pieces are kept."""
        return self.library.root / "chunks"

    def store(self, info: FootageInfo) -> ChunkStore:
        """Return the pieces of one file."""
        key = reading_key(reader_of(self.backend), self.settings_of(info))
        return ChunkStore(self.store_root, info.key, key)

    def settings_of(self, info: FootageInfo) -> Settings:
        """Return the settings with the mat of one file."""
        mat = self.library.mat(info.key) if self.mat is None else self.mat
        return replace(self.settings, bodies=replace(self.settings.bodies, mat=mat))

    def copy_of(self, info: FootageInfo) -> Path:
        """Return where the copy for browsers of one file is, or would be."""
        return self.library.root / "copies" / f"{info.key}.mp4"

    def needs_copy(self, info: FootageInfo) -> bool:
        """Return whether a copy for browsers is to be made of a file."""
        return self.copies and needs_proxy(info) and not self.copy_of(info).is_file()

    def over(self) -> bool:
        """Return whether the time is up."""
        return self.until is not None and time.time() >= self.until


def make_plan(order: Order, asked: Iterable[str | Path], engine: Engine) -> Plan:
    """Look at every file: what it is, and what of it is still to be read.

    What can't be read, or isn't there, is in the plan with its problem.

    Raises
    ------
    MatlineError
        If the disk is too small.
    """
    reader_of(order.backend)  # one that is missing is refused before hours of footage are looked at
    found = _find(order, asked, engine)
    limits = order.settings.overnight
    tasks = deque(
        Task(look_at, (path, order.settings), path, limits.for_file(one.size_bytes))
        for path, one in found.items()
        if not one.problem
    )
    looked = {path: PlannedFile(path, problem=one.problem) for path, one in found.items()}
    for outcome in _outcomes(engine, tasks, order):
        path = outcome.task.about
        looked[path] = _planned(order, path, outcome)
    plan = Plan(tuple(looked.values()), known_speed(order.library.root, order.backend))
    check_disk(plan, order.library.root)
    return plan


def _find(order: Order, asked: Iterable[str | Path], engine: Engine) -> dict[Path, Found]:
    """Return what is meant, each file once, in the order asked for.

    Workers look for it, since a share that is gone may never answer.
    """
    names = list(asked)
    limit_s = order.settings.overnight.for_file(0)
    tasks = deque(Task(find_files, (name,), i, limit_s) for i, name in enumerate(names))
    answers: list[list[Found]] = [[] for _ in names]
    for outcome in _outcomes(engine, tasks, replace(order, until=None)):
        i = outcome.task.about
        path = Path(names[i]).absolute()
        answers[i] = outcome.value or [Found(path, _naming(path, outcome.error))]
    found: dict[Path, Found] = {}
    for one in (one for answer in answers for one in answer):
        found.setdefault(one.path, one)
    return found


def run_night(
    order: Order,
    plan: Plan,
    engine: Engine,
    progress: Callable[[float, float, str], None] | None = None,
    wait: bool = False,
) -> Summary:
    """Read a plan's files into the library.

    It may be stopped at any moment, also by `kill -9`; running it again goes on with what is left.

    Parameters
    ----------
    order : Order
    plan : Plan
    engine : Engine
    progress : callable, optional
        Gets seconds of footage read, seconds in all, and the file's name.
    wait : bool
        Wait for another run on the library to end, instead of refusing.

    Raises
    ------
    MatlineError
        If another run holds the library, or the disk is full.
    """
    with reading_lock(order.library.root, wait, order.until):
        night = _Night(order, plan, engine, progress)
        night.work()
    return night.summary()


class _Night:
    """The state of a running night."""

    def __init__(
        self,
        order: Order,
        plan: Plan,
        engine: Engine,
        progress: Callable[[float, float, str], None] | None,
    ) -> None:
        self.order, self.plan, self.engine = order, plan, engine
        self.progress = progress or (lambda done, total, what: None)
        self.outcomes: dict[Path, FileOutcome] = {}
        self._left: dict[Path, set[Chunk]] = {}
        self._files = {file.path: file for file in plan.files}
        self._tasks: deque[Task] = deque()
        self._done_s = plan.duration_s - plan.left_s
        self._read_s = self._worked_s = 0.0

    def work(self) -> None:
        remove_unfinished(self.order.library.root)
        for file in self.plan.files:
            self._guarded(file.path, self._begin, file)
        self._keep_summary(ended=False)  # should the machine stop, the page tells how far it came
        for outcome in _outcomes(self.engine, self._tasks, self.order):
            known = len(self.outcomes)
            self._guarded(outcome.task.about[0], self._take, outcome)
            if len(self.outcomes) > known:
                self._keep_summary(ended=False)
        self._keep_summary(ended=True)
        keep_speed(self.order.library.root, self.order.backend, self._read_s, self._worked_s)

    def summary(self) -> Summary:
        """Return what became of the files so far."""
        unfinished = (FileOutcome(file.path, "unfinished") for file in self.plan.files)
        return Summary(tuple(self.outcomes.get(file.path, file) for file in unfinished))

    def _keep_summary(self, ended: bool) -> None:
        keep_summary(self.order.library.root, self.summary(), ended)

    def _guarded(self, path: Path, step: Callable[[Any], None], about: Any) -> None:
        """Take a step for a file. Whatever goes wrong in it is that file's failure alone."""
        try:
            step(about)
        except MatlineError as error:
            self._fail(path, str(error))
        except Exception as error:
            self._fail(path, unforeseen(error))

    def _begin(self, file: PlannedFile) -> None:
        if file.problem:
            self._fail(file.path, file.problem)
        if file.info is None:
            return
        if self.order.mat is not None:
            self.order.library.set_mat(file.info.key, self.order.mat)
        known = self._known(file.info)
        if known is not None:
            self.outcomes[file.path] = known
            self._done_s += file.left_s
            self._copy_later(file.info)
            return
        self._left[file.path] = set(file.left)
        for chunk in file.left:
            self._tasks.append(self._chunk_task(file, chunk))
        if not file.left:
            self._tasks.append(self._last_task(file))

    def _known(self, info: FootageInfo) -> FileOutcome | None:
        """Return the outcome of a file that need not or must not be read again."""
        if self.order.again:
            return None
        bouts = self.order.library.find(info.key)
        if not all(bout.reader for bout in bouts):  # stopped while the bouts of a file were saved
            return None
        if any(self._stands(bout, info) for bout in bouts):
            for bout in bouts:
                if not bout.footage.exists():  # it was moved, or its disk has another name now
                    self.order.library.update_bout(bout.id, footage=info.path.absolute())
            return FileOutcome(info.path, "known", bouts=tuple(bout.id for bout in bouts))
        return None

    def _stands(self, bout: Bout, info: FootageInfo) -> bool:
        """Return whether a bout was corrected, or read in the same way."""
        return bool(bout.revision) or bout.settings_hash == self._settings_hash(info)

    def _take(self, outcome: Outcome) -> None:
        path, chunk = outcome.task.about
        if chunk is _COPY:
            self._copied(self._files[path], outcome)
            return
        if path in self.outcomes:  # another piece of it has failed meanwhile
            return
        if outcome.error:
            self._fail(path, outcome.error)
        elif chunk is None:
            self._save(self._files[path], outcome.value)
        else:
            self._chunk_done(self._files[path], chunk, outcome.value)

    def _chunk_done(self, file: PlannedFile, chunk: Chunk, worked_s: float | None) -> None:
        self._left[file.path].discard(chunk)
        length_s = min(chunk.end_s, file.duration_s) - chunk.start_s
        self._done_s += length_s
        if worked_s is not None:
            self._read_s += length_s
            self._worked_s += worked_s
        self.progress(self._done_s, self.plan.duration_s, file.path.name)
        if not self._left[file.path]:
            self._tasks.appendleft(self._last_task(file))

    def _save(self, file: PlannedFile, found: list[BoutReading]) -> None:
        info = file.info
        assert info is not None
        # All bouts of a file are there before the first has its reading: see `_known`.
        bouts = [self._bout(info, part, i, len(found)) for i, part in enumerate(found)]
        for bout, part in zip(bouts, found, strict=True):
            if self.order.again or not (bout.reader and self._stands(bout, info)):
                self._save_reading(info, bout, part.reading)
        ids = [bout.id for bout in bouts]
        readings = [part.reading for part in found]
        self.outcomes[file.path] = read_outcome(file.path, ids, readings)
        self._copy_later(info)

    def _copy_later(self, info: FootageInfo) -> None:
        """When all is read, make the copy for browsers that a file needs."""
        if self.order.needs_copy(info):
            out = self.order.copy_of(info)
            limit_s = self.order.settings.overnight.for_work(info.duration_s)
            self._tasks.append(Task(keep_copy, (info, out), (info.path, _COPY), limit_s))

    def _copied(self, file: PlannedFile, outcome: Outcome) -> None:
        """Tell the bouts of their copy. One that failed the page tries again and says why."""
        if file.info is None or outcome.error:
            return
        with suppress(MatlineError):
            for bout in self.order.library.find(file.info.key):
                self.order.library.update_bout(bout.id, proxy=self.order.copy_of(file.info))

    def _save_reading(self, info: FootageInfo, bout: Bout, reading: Reading) -> None:
        self.order.library.save_reading(
            bout.id,
            reading.times,
            reading.keypoints,
            reading.features,
            reading.probabilities,
            reading.proposal,
            scores=reading.scores,
            reader=self.order.backend,
            settings_hash=self._settings_hash(info),
        )

    def _bout(self, info: FootageInfo, part: BoutReading, number: int, count: int) -> Bout:
        """Return the bout that is mostly this stretch of the footage; a new one if none is."""
        library = self.order.library
        name = printable(info.path.stem)
        title = name if count == 1 else f"{name}, bout {number + 1}"
        bounds = {"start_s": part.start_s, "end_s": part.end_s}
        for bout in library.find(info.key):
            if _shared(bout, part) > 0.5:
                return library.update_bout(bout.id, footage=info.path.absolute(), **bounds)
        return library.add_bout(
            info.path, info.duration_s, title=title, content_key=info.key, **bounds
        )

    def _fail(self, path: Path, why: str) -> None:
        self.outcomes[path] = FileOutcome(path, "failed", why=_naming(path, why))
        kept = [task for task in self._tasks if task.about[0] != path]
        self._tasks.clear()
        self._tasks.extend(kept)
        if shutil.disk_usage(self.order.library.root).free < _FULL_BYTES:
            raise MatlineError(
                f"The disk of {self.order.library.root} is full; make room and run the same "
                "command again, it goes on where it stopped."
            )

    def _chunk_task(self, file: PlannedFile, chunk: Chunk) -> Task:
        order = self.order
        assert file.info is not None
        settings = order.settings_of(file.info)
        arguments = (file.info, chunk, order.backend, settings, order.store_root)
        limits = settings.overnight
        work_s = min(min(chunk.end_s, file.duration_s) - chunk.start_s, limits.chunk_s)
        if not file.info.seekable:  # all before it is decoded too
            work_s += chunk.start_s
        return Task(keep_chunk, arguments, (file.path, chunk), limits.for_work(work_s))

    def _last_task(self, file: PlannedFile) -> Task:
        order = self.order
        assert file.info is not None
        settings = order.settings_of(file.info)
        arguments = (file.info, list(file.chunks), order.backend, settings, order.store_root)
        limit_s = settings.overnight.for_work(file.info.duration_s)
        return Task(put_together, (*arguments, order.whole), (file.path, None), limit_s)

    def _settings_hash(self, info: FootageInfo) -> str:
        return settings_hash(reader_of(self.order.backend), self.order.settings_of(info))


def _shared(bout: Bout, part: BoutReading) -> float:
    """Return the overlap of two stretches over the longer one."""
    overlap = min(bout.end_s, part.end_s) - max(bout.start_s, part.start_s)
    return overlap / max(bout.end_s - bout.start_s, part.end_s - part.start_s, 1e-9)


def _planned(order: Order, path: Path, outcome: Outcome) -> PlannedFile:
    if outcome.error:
        return PlannedFile(path, problem=outcome.error)
    info, chunks = outcome.value
    if order.mat and (beside := _beside(info, order.mat)):
        return PlannedFile(path, problem=beside)
    try:
        store = order.store(info)
    except MatlineError as error:
        return PlannedFile(path, problem=str(error))
    left = tuple(chunk for chunk in chunks if not store.has(chunk))
    return PlannedFile(path, info, tuple(chunks), left, copied=order.needs_copy(info))


def _beside(info: FootageInfo, corners: Corners) -> str:
    """Return a sentence if a mat is not in a file's picture, else nothing."""
    box = Mat(corners).bounds
    if box.x0 < info.width and box.y0 < info.height and box.x1 > 0 and box.y1 > 0:
        return ""
    return (
        f"{info.path}: the mat lies outside its picture of {info.width} × {info.height} pixels; "
        "give the mat in these pixels."
    )


def _naming(path: Path, why: str) -> str:
    """Return a sentence on a file that names it."""
    return why if printable(path.name) in why else f"{path}: {why}"


def _outcomes(engine: Engine, tasks: deque[Task], order: Order) -> Iterator[Outcome]:
    """Feed an engine and yield what comes back; the deque may grow meanwhile.

    When the time is up, what is in hand is waited for a little, and then given up.
    """
    ends_s = math.inf
    while (tasks and not order.over()) or engine.busy:
        while tasks and engine.free > 0 and not order.over():
            engine.submit(tasks.popleft())
        yield from engine.finished(_LOOK_S)
        if order.over():
            ends_s = min(ends_s, time.monotonic() + order.settings.overnight.grace_s)
        if time.monotonic() >= ends_s:
            return
