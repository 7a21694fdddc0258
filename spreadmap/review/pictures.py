"""Pictures and sheets of a run by their path in its folder."""

from __future__ import annotations

from spreadmap.review.field_sheet import field_sheet_pdf, field_sheet_xlsx, sheet_rows, title_of
from spreadmap.review.language import words_of
from spreadmap.review.rose import wind_rose_png
from spreadmap.review.season_picture import season_png
from spreadmap.values.results import PlannedSurvey, SurveyResult


def wind_roses(result: SurveyResult) -> dict[str, bytes]:
    """Return the pictures of the wind by their path in the run folder; none where there is no direction."""
    say = words_of(result.settings.page)
    pictures = {
        f"{system.triage.system.key}/wind_rose.png": wind_rose_png(
            say,
            system.climate,
            say("rose.heading", name=result.inputs.name, pest=say.phrase(system.triage.system.common_name)),
        )
        for system in result.systems
    }
    return {name: content for name, content in pictures.items() if content}


def season_pictures(result: SurveyResult) -> dict[str, bytes]:
    """Return the picture of the year by its path in the run folder; none where no system has a window here."""
    say = words_of(result.settings.page)
    picture = season_png(say, result.season, result.inputs.name) if result.season is not None else b""
    return {"calendar.png": picture} if picture else {}


def field_sheets(result: PlannedSurvey) -> dict[str, bytes]:
    """Return the sheets of the next survey by their path in the run folder, on paper and as a workbook."""
    say, sheets = words_of(result.settings.page), {}
    for system in result.systems:
        pest, rows = system.triage.system, sheet_rows(system, result.inputs)
        sheets[f"{pest.key}/field_sheet.pdf"] = field_sheet_pdf(rows, title_of(say, system.face, pest.common_name), say)
        sheets[f"{pest.key}/field_sheet.xlsx"] = field_sheet_xlsx(rows)
    return sheets
