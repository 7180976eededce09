"""Settings, one frozen section per stage. Unknown keys are refused. A stage receives its own section only.

The job file's ``[settings.<section>]`` tables map onto these classes; every field has a default, a unit in its name and a
line that says what it does.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Section(BaseModel):
    """Base of all sections: frozen, unknown keys refused, field docstrings become descriptions."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class DetectionSettings(Section):
    """Finding targets in photos (``capture``)."""


class AdjustmentSettings(Section):
    """Bundle adjustment (``network``)."""


class WorkPlaneSettings(Section):
    """Work plane and level map (``network.workplane``)."""


class EdgeSettings(Section):
    """Tracing and fitting edges (``edges``)."""


class OutlineSettings(Section):
    """Joining edges to loops (``template.outline``)."""


class OutputSettings(Section):
    """Files written (``output``)."""


class Settings(Section):
    """All sections."""

    detection: DetectionSettings = DetectionSettings()
    adjustment: AdjustmentSettings = AdjustmentSettings()
    work_plane: WorkPlaneSettings = WorkPlaneSettings()
    edges: EdgeSettings = EdgeSettings()
    outline: OutlineSettings = OutlineSettings()
    output: OutputSettings = OutputSettings()
