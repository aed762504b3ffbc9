"""Learn from a library's corrections, and keep what was learnt only if it is no worse."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.errors import MatlineError
from pipeline.learning.judging import Figures, judge
from pipeline.learning.samples import Samples, SeenBout, seen_bouts
from pipeline.learning.suspects import suspect_segments
from pipeline.learning.tuning import Trial, bend, cross_validate
from pipeline.learning.versions import SHIPPED, Version, Versions
from pipeline.library import Library
from pipeline.positions import PositionModel
from pipeline.settings import LearningSettings
from pipeline.text import counted

SAME_SURE = 0.05
"""Logarithm of a temperature's change that changes no decision worth a version."""


@dataclass(frozen=True)
class Outcome:
    """What came of learning.

    Attributes
    ----------
    learnt_from, apart : list of str
        Titles of bouts.
    samples : int
        Samples learnt from.
    trial : Trial
        What the folds over the bouts learnt from showed.
    before, after : Figures
        Of the model in use and of the new one, on the bouts kept apart.
    model : PositionModel
        What was learnt, put in use or not.
    version : Version or None
        The new version, if it was put in use.
    suspects : DataFrame
        Segments worth a second look; see `suspect_segments`.
    """

    learnt_from: list[str]
    apart: list[str]
    samples: int
    trial: Trial
    before: Figures
    after: Figures
    model: PositionModel
    version: Version | None
    suspects: pd.DataFrame


def learn(
    library: Library,
    settings: LearningSettings | None = None,
    keep_apart: Sequence[str] = (),
    start: PositionModel | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Outcome:
    """Bend the position model to what a person accepted and corrected.

    It always starts from the model that comes with Matline, so that no bout judged in the folds
    was learnt from earlier. How often to go through the samples is decided by folds over bouts.
    The outcome is put in use only if neither macro-F1 nor edit score falls on bouts that are kept
    apart: chosen once, seen whole by a person, and never learnt from.

    Parameters
    ----------
    library : Library
    settings : LearningSettings, optional
    keep_apart : sequence of str
        Ids of bouts to keep apart from now on, instead of those chosen before.
    start : PositionModel, optional
        The model to start from; the one that comes with Matline by default.
    say : callable
        Takes progress as sentences.

    Raises
    ------
    MatlineError
        If a person has seen too few bouts, or a bout to keep apart hasn't been seen whole.
    """
    settings = settings or LearningSettings()
    versions, bouts = Versions(library), seen_bouts(library)
    apart = _apart(versions, bouts, list(keep_apart), settings)
    learnable = [b for b in bouts if b not in apart]
    if len(learnable) < settings.least_bouts:
        raise MatlineError(
            f"{len(learnable)} bouts to learn from, besides {len(apart)} kept apart: accept or "
            f"correct segments of {settings.least_bouts - len(learnable)} more."
        )
    start = start or PositionModel.load()
    in_use = start if versions.current == SHIPPED else versions.model()
    samples = Samples.of(learnable, start.states, settings)
    if len(np.unique(samples.bout)) < settings.least_bouts:
        raise MatlineError(
            "Too little to learn from: the model knows hardly any of the positions that were "
            "accepted or corrected."
        )
    versions.keep_apart([b.id for b in apart])
    kept = f"{counted(len(apart), 'bout')} kept apart"
    say(f"{len(samples) // 2} samples of {len(learnable)} bouts; {kept}.")
    trial = cross_validate(start, samples, settings)
    about = f"{start.version}; {len(learnable)} corrected bouts, {trial.passes} passes"
    bent = bend(start, samples, trial.passes, trial.temperature, settings, about)
    before, after = judge(in_use, apart), judge(bent, apart)
    changed = trial.passes > 0 or abs(np.log(trial.temperature / start.temperature)) > SAME_SURE
    better = changed and not after.falls_below(before)
    version = versions.promote(bent, [b.id for b in learnable], before, after) if better else None
    suspects = suspect_segments(
        learnable, samples, trial.probabilities, start.states, settings.suspect_share
    )
    return Outcome(
        [b.title for b in learnable],
        [b.title for b in apart],
        len(samples) // 2,
        trial,
        before,
        after,
        bent,
        version,
        suspects,
    )


def _apart(
    versions: Versions, bouts: list[SeenBout], asked: list[str], settings: LearningSettings
) -> list[SeenBout]:
    whole = {b.id: b for b in bouts if b.whole >= settings.whole}
    for bout_id in asked:
        if bout_id not in whole:
            raise MatlineError(
                f"The bout {bout_id} can't be judged by: a person must have accepted or corrected "
                f"at least {settings.whole:.0%} of it."
            )
    kept = asked or [bout_id for bout_id in versions.apart if bout_id in whole]
    if kept:
        return [whole[bout_id] for bout_id in kept]
    if not whole:
        raise MatlineError(
            "No bout to judge by: accept or correct all segments of at least one, then learn."
        )
    # By a hash, so that the choice depends neither on the order nor on how a bout went.
    ordered = sorted(whole, key=lambda bout_id: hashlib.sha256(bout_id.encode()).digest())
    return [whole[b] for b in ordered[: max(1, round(settings.apart_share * len(bouts)))]]
