"""Reports: the record laid out for its readers, as notebooks, pages, documents and figures."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from outcomes.reports.classroom import ClassReport as ClassReport
    from outcomes.reports.classroom import open_class_report as open_class_report
    from outcomes.reports.conference import ConferenceReport as ConferenceReport
    from outcomes.reports.conference import open_report as open_report
    from outcomes.reports.funder import FunderReport as FunderReport
    from outcomes.reports.funder import open_funder_report as open_funder_report
    from outcomes.reports.participant import ParticipantPage as ParticipantPage
    from outcomes.reports.participant import open_participant_page as open_participant_page
    from outcomes.reports.session import SessionPicture as SessionPicture
    from outcomes.reports.session import draw_session as draw_session
    from outcomes.reports.session import write_session as write_session
    from outcomes.reports.write import READERS as READERS
    from outcomes.reports.write import write_report as write_report

_EXPORTS = {
    "ClassReport": "classroom",
    "ConferenceReport": "conference",
    "FunderReport": "funder",
    "ParticipantPage": "participant",
    "READERS": "write",
    "SessionPicture": "session",
    "draw_session": "session",
    "open_class_report": "classroom",
    "open_funder_report": "funder",
    "open_participant_page": "participant",
    "open_report": "conference",
    "write_report": "write",
    "write_session": "session",
}

__all__ = sorted(_EXPORTS)


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        return getattr(import_module(f"outcomes.reports.{_EXPORTS[name]}"), name)
    raise AttributeError(f"module 'outcomes.reports' has no attribute {name!r}")
