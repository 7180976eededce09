"""``Measurement`` -> ``report.html``: one file, no script, no request to anywhere.

``build`` collects what is to be read, one module per picture draws it as inline SVG, ``words`` says it in plain sentences,
and the templates in ``output/templates`` lay it out.
"""

from phototemplate.output.report.build import write_report
from phototemplate.output.report.topview import TopPicture

__all__ = ["TopPicture", "write_report"]
