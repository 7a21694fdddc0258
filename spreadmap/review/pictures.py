"""Pictures and sheets of a run by their path in its folder."""

from __future__ import annotations

from spreadmap.review.field_sheet import field_sheet_pdf, field_sheet_xlsx, sheet_rows, title_of
from spreadmap.review.rose import wind_rose_png
from spreadmap.review.season_picture import season_png
from spreadmap.values.results import SurveyResult


def wind_roses(result: SurveyResult) -> dict[str, bytes]:
    """Return the pictures of the wind by their path in the run folder; none where there is no direction."""
    pictures = {
        f"{system.triage.system.key}/wind_rose.png": wind_rose_png(
            system.climate, f"{result.inputs.name}: wind for {system.triage.system.common_name}"
        )
        for system in result.systems
    }
    return {name: content for name, content in pictures.items() if content}


def season_pictures(result: SurveyResult) -> dict[str, bytes]:
    """Return the picture of the year by its path in the run folder; none where no system has a window here."""
    picture = season_png(result.season, result.inputs.name) if result.season is not None else b""
    return {"calendar.png": picture} if picture else {}


def field_sheets(result: SurveyResult) -> dict[str, bytes]:
    """Return the sheets of the next survey by their path in the run folder, on paper and as a workbook."""
    sheets = {}
    for system in result.systems:
        pest, rows = system.triage.system, sheet_rows(system, result.inputs)
        sheets[f"{pest.key}/field_sheet.pdf"] = field_sheet_pdf(rows, title_of(system.face, pest.common_name))
        sheets[f"{pest.key}/field_sheet.xlsx"] = field_sheet_xlsx(rows)
    return sheets
