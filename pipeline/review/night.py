"""The last night's summary as the library page shows it: the same facts as in the terminal."""

from __future__ import annotations

from dataclasses import asdict

from pipeline.library import Library
from pipeline.overnight import last_summary
from pipeline.overnight.summary import facts
from pipeline.review import messages
from pipeline.text import printable


def last_night(library: Library) -> messages.NightOut | None:
    """Return the last night's summary; bouts that were removed since are left out."""
    kept = last_summary(library.root)
    if kept is None:
        return None
    titles = {bout.id: bout.title for bout in library.bouts()}
    return messages.NightOut(
        at=kept.at,
        ended=kept.ended,
        total=kept.summary.total(),
        files=[
            messages.NightFile(
                name=printable(file.path.name),
                became=file.became,
                facts=facts(file),
                bouts=[
                    messages.NightBout(id=one, title=titles[one])
                    for one in file.bouts
                    if one in titles
                ],
                spots=[
                    messages.NightSpot(**asdict(spot)) for spot in file.spots if spot.bout in titles
                ],
            )
            for file in kept.summary.by_worth()
        ],
    )
