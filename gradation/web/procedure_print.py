"""An edition of a procedure put into words for paper."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from gradation.documents.procedure_sheet import Act, ProcedureContent, Said, Step
from gradation.models import Laboratory, ProcedureVersion, User
from gradation.services import clock
from gradation.web.procedure_page import MarkedGroup, marked_groups

__all__ = ["procedure_content"]


def procedure_content(
    version: ProcedureVersion, laboratory: Laboratory, printed_by: User
) -> ProcedureContent:
    """Give all that an edition says, as it stands now."""
    zone = ZoneInfo(laboratory.time_zone)

    def local(moment: datetime | None) -> str:
        return moment.astimezone(zone).isoformat(timespec="minutes") if moment else ""

    acts = (
        Act(act.capitalize(), str(getattr(version, f"{act}_by") or ""),
            local(getattr(version, f"{act}_at")))
        for act in ("drafted", "proposed", "released")
    )  # fmt: skip
    return ProcedureContent(
        laboratory=laboratory.name,
        code=version.procedure.code,
        title=version.procedure.title,
        version=version.version,
        state=version.state,
        standard=f"{version.standard_reference}, {version.edition}",
        steps=tuple(_step(group) for group in marked_groups(version)),
        acts=tuple(acts),
        confirmation=version.confirmation,
        to_confirm=version.unconfirmed_note,
        cautions=version.cautions,
        printed_at=local(clock.now()),
        printed_by=str(printed_by),
        time_zone=laboratory.time_zone,
    )


def _step(group: MarkedGroup) -> Step:
    return Step(
        group.legend, tuple(Said(line.label, line.words, line.mark) for line in group.lines)
    )
