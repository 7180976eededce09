"""English: sentences of quotes, by key; fields as :mod:`phototemplate.wording.phrases` says."""

from __future__ import annotations

from collections.abc import Mapping

QUOTE: Mapping[str, str] = {
    # the page
    "estimate": "estimate",
    "Estimate": "Estimate",
    "quote-number": "Quote {number}",
    "valid-until": "valid until {day}",
    "countertop": "Countertop: {job}",
    "seen-from-above": "Seen from above, sizes to the nearest inch.",
    "sizes": "Sizes",
    "price": "Price, {currency}",
    "total": "total with tax",
    "tax": "tax",
    "to-narrow": "To narrow the range: {ask}",
    "included": "Included",
    "not-included": "Not included",
    "terms": "Terms",
    "slab-page": "Where the pieces could come from",
    "option": "{title}: {words}",
    "both": "{first} {second}",
    # sizes
    "area": "area",
    "finished-edge": "finished edge",
    "splash": "splash",
    "cutouts": "cut-outs",
    "seams": "seams",
    "slabs": "slabs",
    "weight": "weight",
    "thickness": "thickness",
    "overhang": "overhang",
    "none": "none",
    "range-area": "{ft2:.1f} ft2 ({ft2_low:.1f} to {ft2_high:.1f}); {m2:.2f} m2",
    "range-length": "{ft:.1f} ft ({ft_low:.1f} to {ft_high:.1f}); {m:.2f} m",
    "range-weight": "{lb:.0f} lb ({lb_low:.0f} to {lb_high:.0f}); {kg:.0f} kg",
    "count": "{n} {what}",
    "listed": "{words}",
    "slabs-likely": "{likely}",
    "slabs-range": "{likely} ({low} to {high})",
    "slabs-perhaps": "{slabs}, perhaps {least} with a better plan",
    "thickness-cm": "{cm:g} cm",
    "overhang-usual": "{front} at fronts, {end} at open ends, unless shown otherwise",
    "piece-size": "{length_in:.0f} x {width_in:.0f} in",
    "corners": "corners",
    "unseen-corners": "{n} found by the program and not looked at by anybody",
    "old-top": "old top",
    "as-old": "the new top is made as large as the old one",
    "old-measured": "measured in place, its overhang taken off",
    "not-sure": "not sure what it is: {kinds}",
    # money
    "money": "{value:,.0f}",
    "minimum-words": "This is the minimum charge, {currency} {likely:,.0f}, whatever the exact sizes.",
    "price-between": "From what the photos show, the price lies between {low:,.0f} and {high:,.0f}.",
    "price-narrowed": "From what the photos show, the price lies between {low:,.0f} and {high:,.0f}; one tape length "
                      "would make "
                      "it {then_low:,.0f} to {then_high:,.0f}.",
    "line-area": "top, {name}",
    "line-area-waste": "top, {name}, with {percent:g} % waste",
    "line-slab": "slabs of {name}",
    "line-edge": "edge, {name}",
    "line-cutout": "cut-out, {name}",
    "line-seam": "seam",
    "line-removal": "removal of the old top",
    "line-removal-area": "removal, by area",
    "line-delivery": "delivery",
    "line-distance": "delivery, distance",
    "line-floors": "delivery, floors",
    "line-discount": "discount",
    # kinds
    "kind-sink": "sink", "kind-cooktop": "cooktop", "kind-post": "post", "kind-other": "other",
    "kind-splash": "splash", "kind-side splash": "side splash", "kind-waterfall": "waterfall", "kind-apron": "apron",
    "kind-strip": "strip",
    # what to measure
    "tape": "Please measure with a tape {how}from {start} to {end}",
    "tape-ask": "{tape} (about {inches:.0f} in). Read it to the nearest 1/8 in and send the number with a photo of the tape.",
    "along-front": "along the front edge of the cabinets, ",
    "along-wall": "along the wall, ",
    "along-nothing": "",
    "corner": "the {where} corner ({meet})",
    "corner-found": "the {where} corner ({meet}; {found})",
    "meet-same": "where two {part}s meet",
    "meet": "where the {part} meets the {other}",
    "part-front": "front edge", "part-end": "open end", "part-wall": "wall", "part-panel": "side panel",
    "part-opening": "opening", "part-other": "edge",
    "inner": "inner", "back-left": "back left", "back-right": "back right", "front-left": "front left",
    "front-right": "front right",
    "beside": "beside the {thing}",
    "see-photo": "see photo {n}, {file}",
    "thing-range": "range", "thing-dishwasher": "dishwasher",
    # slabs
    "slab-size": "slab {n}: {length_mm:.0f} x {width_mm:.0f} mm",
    "slab-grain": "slab {n}: {length_mm:.0f} x {width_mm:.0f} mm, pattern from left to right",
    "no-fewer": "no plan can do with fewer",
    "better-plan": "{least} might do with a better plan",
    "used": "of their area used",
    "percent": "{percent:.0f} %",
    # cautions
    "not-a-template": "This is an estimate from photos, to price by. It is not a template: nothing may be cut from it.",
    "print-only": "No length is known: the scale is that of the printed sheets, taken as 98 to 102 % of their size. A "
                  "page printed "
                  "to fit the paper is smaller still, so read the ruler on a sheet with a tape before the price is promised.",
    "lens-unknown": "The photos do not say which camera took them, so its lens is a guess and the range is wide; click "
                    "along two "
                    "or three things that are straight, near the borders of the picture (`straight` in estimate.toml), or ask "
                    "for the photos as the camera wrote them.",
}
"""Key -> sentence"""
