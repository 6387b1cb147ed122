"""Everything that a diagnosis leaves in its folder: page or pages, findings, tables."""

from collections.abc import Sequence
from pathlib import Path

from tracekit.model.result import DiagnosisRecord
from tracekit.options.report import ReportOptions
from tracekit.report.coast_dips import forget
from tracekit.report.files import write_result
from tracekit.report.page import FOLDER, INDEX_NAME, index_page, page_names, station_page
from tracekit.report.passed import Passed

_PLAIN = ReportOptions()


def pages(record: DiagnosisRecord, options: ReportOptions = _PLAIN, limits: Sequence[Passed] = ()) -> dict[str, str]:
    """The pages by relative path: `report.html`, and with several stations `stations/<name>.html` besides.

    limits  of the station files that are passed
    """
    try:
        if len(record.stations) == 1:
            return {INDEX_NAME: station_page(record, 0, options, limits)}
        names = enumerate(page_names(record))
        single = {f"{FOLDER}/{name}": station_page(record, at, options, limits) for at, name in names}
        return {INDEX_NAME: index_page(record, options, limits), **single}
    finally:
        forget()


def write_all(
    record: DiagnosisRecord,
    folder: str | Path,
    *,
    csv: bool = False,
    options: ReportOptions = _PLAIN,
    limits: Sequence[Passed] = (),
) -> Path:
    """Write pages, findings and tables into a folder, all of them or none; gives the path of the first page.

    limits  of the station files that are passed

    Raises OutputError where the folder cannot be written.
    """
    write_result(record, folder, csv=csv, pages=pages(record, options, limits))
    return Path(folder) / INDEX_NAME
