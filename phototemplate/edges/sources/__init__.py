"""Where edge points come from: one module per source, one contract.

A member has

``NAME``
    the word in the job file (``EdgeHint.source``);
``type_b_terms(hint, settings)``
    the influences no photo can show that its points will depend on;
``measure(scene, hint)``
    a :class:`~phototemplate.edges.sources.result.Found`: points, traces and findings; never raises for what is seen.
"""

from __future__ import annotations

from phototemplate.edges.sources import contact, strip, trace

SOURCES = (trace, contact, strip)
