"""Drawing and Measurement -> DXF, SVG, PDF, report, result.json."""
