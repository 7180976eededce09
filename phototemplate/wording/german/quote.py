"""German: sentences of quotes, by key; fields as :mod:`phototemplate.wording.phrases` says."""

from __future__ import annotations

from collections.abc import Mapping

QUOTE: Mapping[str, str] = {
    # the page
    "estimate": "Schätzung",
    "Estimate": "Kostenvoranschlag",
    "quote-number": "Angebot {number}",
    "valid-until": "gültig bis {day}",
    "countertop": "Arbeitsplatte: {job}",
    "seen-from-above": "Von oben gesehen, Maße auf ganze Zentimeter.",
    "sizes": "Maße",
    "price": "Preis, {currency}",
    "total": "Summe mit Steuer",
    "tax": "Steuer",
    "to-narrow": "Damit wird die Spanne enger: {ask}",
    "included": "Enthalten",
    "not-included": "Nicht enthalten",
    "terms": "Bedingungen",
    "slab-page": "Woraus die Teile geschnitten werden könnten",
    "option": "{title}: {words}",
    "both": "{first} {second}",
    # sizes
    "area": "Fläche",
    "finished-edge": "bearbeitete Kante",
    "splash": "Wandanschluss",
    "cutouts": "Ausschnitte",
    "seams": "Fugen",
    "slabs": "Rohplatten",
    "weight": "Gewicht",
    "thickness": "Dicke",
    "overhang": "Überstand",
    "none": "keine",
    "range-area": "{m2:.2f} m² ({m2_low:.2f} bis {m2_high:.2f})",
    "range-length": "{m:.2f} m ({m_low:.2f} bis {m_high:.2f})",
    "range-weight": "{kg:.0f} kg ({kg_low:.0f} bis {kg_high:.0f})",
    "count": "{n} {what}",
    "listed": "{words}",
    "slabs-likely": "{likely}",
    "slabs-range": "{likely} ({low} bis {high})",
    "slabs-perhaps": "{slabs}, mit besserem Plan vielleicht {least}",
    "thickness-cm": "{cm:g} cm",
    "overhang-usual": "{front_mm:.0f} mm vorn, {end_mm:.0f} mm an freien Enden, wo nichts anderes gezeigt ist",
    "piece-size": "{length_cm:.0f} x {width_cm:.0f} cm",
    "corners": "Ecken",
    "unseen-corners": "{n} vom Programm gefunden und von niemandem angesehen",
    "old-top": "alte Platte",
    "as-old": "die neue Platte wird so groß wie die alte",
    "old-measured": "eingebaut gemessen, ihr Überstand abgezogen",
    "not-sure": "nicht sicher, was es ist: {kinds}",
    # money
    "money": "{value:,.0f}",
    "minimum-words": "Das ist der Mindestpreis, {likely:,.0f} {currency}, unabhängig von den genauen Maßen.",
    "price-between": "Nach dem, was die Fotos zeigen, liegt der Preis zwischen {low:,.0f} und {high:,.0f}.",
    "price-narrowed": "Nach dem, was die Fotos zeigen, liegt der Preis zwischen {low:,.0f} und {high:,.0f}; mit einem Bandmaß "
                      "gemessen wären es {then_low:,.0f} bis {then_high:,.0f}.",
    "line-area": "Platte, {name}",
    "line-area-waste": "Platte, {name}, mit {percent:g} % Verschnitt",
    "line-slab": "Rohplatten, {name}",
    "line-edge": "Kante, {name}",
    "line-cutout": "Ausschnitt, {name}",
    "line-seam": "Fuge",
    "line-removal": "Ausbau der alten Platte",
    "line-removal-area": "Ausbau, nach Fläche",
    "line-delivery": "Lieferung",
    "line-distance": "Lieferung, Entfernung",
    "line-floors": "Lieferung, Stockwerke",
    "line-discount": "Rabatt",
    # kinds
    "kind-sink": "Spüle", "kind-cooktop": "Kochfeld", "kind-post": "Pfosten", "kind-other": "sonstiger",
    "kind-splash": "Wandanschluss", "kind-side splash": "seitlicher Wandanschluss", "kind-waterfall": "Wange",
    "kind-apron": "Blende", "kind-strip": "Unterfütterung",
    # what to measure
    "tape": "Bitte messen Sie mit dem Bandmaß {how}von {start} bis zu {end}",
    "tape-ask": "{tape} (etwa {cm:.0f} cm). Bitte auf den Millimeter ablesen und die Zahl mit einem Foto des Bandmaßes "
                "schicken.",
    "along-front": "an der Vorderkante der Schränke entlang ",
    "along-wall": "an der Wand entlang ",
    "along-nothing": "",
    "corner": "der Ecke {where} ({meet})",
    "corner-found": "der Ecke {where} ({meet}; {found})",
    "meet-same": "zweimal {part}",
    "meet": "{part} und {other}",
    "part-front": "Vorderkante", "part-end": "freies Ende", "part-wall": "Wand", "part-panel": "Seitenwange",
    "part-opening": "Lücke", "part-other": "Kante",
    "inner": "innen", "back-left": "hinten links", "back-right": "hinten rechts", "front-left": "vorn links",
    "front-right": "vorn rechts",
    "beside": "neben: {thing}",
    "see-photo": "siehe Foto {n}, {file}",
    "thing-range": "Herd", "thing-dishwasher": "Spülmaschine",
    # slabs
    "slab-size": "Rohplatte {n}: {length_mm:.0f} x {width_mm:.0f} mm",
    "slab-grain": "Rohplatte {n}: {length_mm:.0f} x {width_mm:.0f} mm, Muster von links nach rechts",
    "no-fewer": "kein Plan kommt mit weniger aus",
    "better-plan": "mit besserem Plan vielleicht {least}",
    "used": "ihrer Fläche genutzt",
    "percent": "{percent:.0f} %",
    # cautions
    "not-a-template": "Dies ist eine Schätzung nach Fotos, um einen Preis zu nennen. Es ist kein Aufmaß: Danach darf nichts "
                      "zugeschnitten werden.",
    "print-only": "Keine Länge ist bekannt: Der Maßstab ist der der gedruckten Bögen, angenommen zu 98 bis 102 % ihrer "
                  "Größe. Eine "
                  "ans Papier angepasst gedruckte Seite ist noch kleiner; lesen Sie das Lineal auf einem Bogen mit dem Bandmaß "
                  "ab, bevor der Preis zugesagt wird.",
    "lens-unknown": "Die Fotos sagen nicht, welche Kamera sie gemacht hat; ihr Objektiv ist geraten und die Spanne weit. "
                    "Klicken "
                    "Sie an zwei oder drei geraden Dingen nahe am Bildrand entlang (`straight` in estimate.toml), oder lassen "
                    "Sie sich die Fotos schicken, wie die Kamera sie geschrieben hat.",
}
"""Key -> sentence"""
