"""The leak as a flow of air, beside how fast vacuum falls."""

from tracekit.model.result import StationResult
from tracekit.report.doubt import told_by_log
from tracekit.report.view import main_finding
from tracekit.report.words import Text, of_quantity, say


def leak_as_air(result: StationResult) -> Text:
    """As in "The leak lets in 0.27 L/min ANR (0.23 to 0.31): normal litres of air."; empty without a volume or a rate.

    Of the estimate of the log, the median of its holds; that is said where a finding tells the rates of some picks.
    """
    flow = of_quantity(result.leak_rate_l_min_anr)
    if flow is None:
        return ()
    main = main_finding(result)
    whose = "The leak" if main is None or told_by_log(result, main) else "In the middle hold the leak"
    return say("{} lets in {}: normal litres of air.", whose, flow)
