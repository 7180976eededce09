"""A kitchen of ours with everything in it that the shop drawing knows."""

from __future__ import annotations

from typing import Any

EVERYTHING: dict[str, Any] = {
    "pieces": [
        {
            "id": "kitchen top", "loop": "kitchen",
            "edges": {"left": {"shape": "straight"}, "near-end": {"align": {"to": "front-short", "how": "square"}},
                      "right-end": {"profile": "full bullnose"}, "front-long": {"profile": "ogee"}},
            "corners": {"right-end/front-long": {"kind": "rounded", "radius": "1 in"}},
            "cutouts": [
                {"id": "sink", "run": "front-short", "along": {"centre": "sink base"}, "setback": "3 1/2 in", "width": "20 in",
                 "depth": "15 in", "radius": "1 in", "reveal": "-1/8 in", "holes": [{"across": 0.0}]},
                {"id": "cooktop", "kind": "cooktop", "sheet": "hob", "run": "front-long", "setback": "3 in",
                 "along": {"edge": "right-end", "distance": "16 in"}},
            ],
            "seams": [{"id": "joint 1", "corner": "front-short/front-long", "towards": "front-long"}],
            "splashes": [{"id": "back splash", "edge": "back", "receptacles": [{"distance": 400, "height": 50, "high": 60}]},
                         {"id": "left splash", "edge": "left", "kind": "side splash"},
                         {"id": "end panel", "edge": "near-end", "kind": "waterfall", "height": "34 1/2 in",
                          "joint": "mitred"}],
        },
        {"id": "island top", "loop": "island",
         "edges": {"island front": {"build_up": {"kind": "mitred", "height": "3 in"}, "profile": "eased"},
                   "island right": {"build_up": {"kind": "mitred", "height": "3 in"}},
                   "island back": {"build_up": {"kind": "stacked", "height": "60 mm"}, "profile": "half bullnose"}},
         "corners": {"island back/island left": {"kind": "clipped", "clip": "2 in"}}},
        {"id": "sample", "loop": "sample", "edges": {"sample 1": {"profile": "cove"}}},
    ],
    "drawn": [
        {"id": "island", "width": "72 in", "depth": "36 in"},
        {"id": "sample", "corners": [[0, 0], [300, 0], [300, 150], [150, 250], [0, 200]]},
    ],
    "centre_lines": [{"id": "sink base", "run": "front-short", "along": {"edge": "near-end", "distance": "36 in"}}],
    "openings": [{"id": "range", "run": "front-long", "sheet": "range sheet",
                  "along": {"between": ["range-left", "range-right"]}, "square_to": "back"}],
    "appliances": [{"id": "dishwasher", "run": "front-short", "along": {"edge": "near-end", "distance": "13 in"}}],
    "maker_sheets": [
        {"id": "range sheet", "title": "sheet 12-B of 2026", "width": "30 in", "left": 0.0, "right": 0.0, "above": "30 in",
         "ventilation": "hood of 300 cfm at least"},
        {"id": "hob", "title": "sheet 3 of 2026", "cutout_width": "18 in", "cutout_depth": "14 in", "cutout_radius": "1/2 in",
         "back": "2 in", "right": "12 in", "below": "4 in"},
    ],
    "shop": {"end_overhang": "1/2 in", "material": {"name": "grey quartz", "kind": "engineered quartz", "thickness": "30 mm"}},
}
"""For :func:`tests.template.samples.l_kitchen`"""
