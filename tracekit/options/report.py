"""How results are shown; nothing here changes a figure."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportOptions:
    """What a page shows and how much it embeds."""

    unit: str = option("kPa", "", "pressure unit shown at first; files stay in kPa")
    most_cycles: int = option(2000, "cycles", "cycles whose numbers a page carries; with 45 columns about 0.3 MB")
    most_points: int = option(60_000, "points", "points of traces a page carries for a closer look, about 0.15 MB")
    most_rows: int = option(500, "rows", "lines of an index of a folder; it stays below 0.5 MB")
    most_pictures: int = option(5, "pictures", "beside the lead; more are not looked at (common practice, no source)")
    sound_zero_kpa: float = option(
        0.5, "kPa", "most that a sound sensor is off zero at rest (common practice, no source)"
    )
    sound_noise_kpa: float = option(
        0.3, "kPa", "most that single readings of a sound sensor scatter (common practice, no source)"
    )
    group_least: int = option(
        5, "cycles", "lost at one nest or part type at least, before that is told (common practice, no source)"
    )
    group_share: float = option(
        0.9, "share", "of the lost cycles that one nest or part type has where it is told as theirs"
    )
    group_p: float = option(
        0.001, "1", "chance of such a table without a link, by Fisher's exact test, below which it is told"
    )
