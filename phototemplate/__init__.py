"""phototemplate: countertop templates from ordinary photos, with an uncertainty on every edge.

photos -> Sightings -> Network -> WorkPlane -> PlanePoints -> Segment -> Outline -> pieces -> Drawing -> files
"""

__version__ = "0.1.0"
