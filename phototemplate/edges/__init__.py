"""Photo + hints -> EdgeTrace -> PlanePoints -> Segment (line, arc, profile)."""
