"""`tracekit schema NAME`."""

import json
from typing import Annotated

import typer

from tracekit.read.station_schema import station_schema
from tracekit.report.schemas import schema as schema_of
from tracekit.report.schemas import schema_names

STATION = "station"


def schema(name: Annotated[str, typer.Argument(metavar="NAME", show_default=False)] = "") -> None:
    """Print the JSON Schema of a file. Without a name, print the names.

    A table (cycles, periods, edges) is described as a list of rows.
    """
    if name:
        shown = station_schema() if name == STATION else schema_of(name)
        print(json.dumps(shown, indent=1, ensure_ascii=False))
    else:
        print("\n".join((*schema_names(), STATION)))
