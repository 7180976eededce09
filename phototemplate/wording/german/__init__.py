"""German: the same tables as English, complete."""

from __future__ import annotations

from phototemplate.wording.german import answers, capture, edges, network, template
from phototemplate.wording.words import Language

GERMAN = Language(
    words={**capture.WORDS, **network.WORDS, **edges.WORDS, **template.WORDS},
    checks=template.CHECKS,
    phrases=answers.PHRASES,
    units={"mm": " mm", "px": " px", "deg": " Grad", "kg": " kg", "lb": " lb", "percent": " %", "megapixels": " Megapixel"},
    names={
        "upper-left": "der linken oberen Ecke", "upper-right": "der rechten oberen Ecke",
        "lower-left": "der linken unteren Ecke", "lower-right": "der rechten unteren Ecke",
        "middle": "der Mitte",
        "tilt-square": "gerade zur Kamera",
        "tilt-left": "um 40 Grad geneigt, die linke Seite nah",
        "tilt-right": "um 40 Grad geneigt, die rechte Seite nah",
        "tilt-top": "um 40 Grad geneigt, die obere Seite nah",
        "tilt-bottom": "um 40 Grad geneigt, die untere Seite nah",
        "fills-most": "fast bildfüllend", "fills-half": "etwa halb so groß wie das Bild",
        "camera-turned": "die Kamera um 90 Grad gedreht",
        "hint-off-plane": "im Foto liegt ihr Hinweis nicht auf der Arbeitsebene", "no-photo": "kein Foto zeigt die Stelle",
        "not-round": "ihre Punkte liegen auf keinem Bogen; eine runde Kante braucht drei auf ihr, ein ganzer Kreis ringsum",
        "no-step": "in keinem Foto wird es dort heller oder dunkler", "no-such-line": "dort ist keine Linie der genannten Art",
        "unsharp": "die Fotos zeigen sie nicht scharf genug",
        "contradictory": "die Fotos widersprechen einander an ihr",
        "no-contact-sheet": "keines ihrer Anlegeblätter wurde in den Fotos gefunden",
        "few-strip-targets": "weniger als drei Ziele ihrer Streifen wurden gefunden",
        "outer": "äußere", "inner": "innere", "better-supported": "besser belegte",
        "arc": "einen Bogen", "circle": "einen Kreis", "profile": "einen Verlauf",
        "turned": "um 90 Grad gedreht", "right": "von weiter rechts", "left": "von weiter links",
        "closer": "aus größerer Nähe", "from-here": "etwa von dort",
        "above": "über", "below": "unter",
        "meets": "hält", "fails": "hält nicht", "cannot tell": "lässt sich nicht sagen",
        "further-out": "außen", "further-in": "innen",
        "place-start": "an ihrem Anfang", "place-middle": "in ihrer Mitte", "place-end": "an ihrem Ende",
        "place-first quarter": "im ersten Viertel", "place-third quarter": "im dritten Viertel",
    },
    last=" und ",
    more="{n} weitere",
    span="{low} bis {high}",
    withheld="nicht anzugeben",
)
"""The second language"""
