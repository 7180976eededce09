"""Drawing and Measurement -> DXF, SVG, PDF, report, result.json.

``FORMATS`` lists every format; the command line, the app and the contract tests derive from it.
"""

from phototemplate.output.formats import (
    FORMAT_NAMES,
    FORMATS,
    Material,
    OutputFormat,
    Subject,
    outline_subject,
    pieces_subject,
    write_formats,
)

__all__ = [
    "FORMATS",
    "FORMAT_NAMES",
    "Material",
    "OutputFormat",
    "Subject",
    "outline_subject",
    "pieces_subject",
    "write_formats",
]
