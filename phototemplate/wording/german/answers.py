"""Die Antworten der Untersuchungen auf Deutsch, Schlüssel wie im Englischen."""

from __future__ import annotations

from typing import Final

PHRASES: Final[dict[str, str]] = {
    "verdict-withheld": "Die Fotos widersprechen einander: Über diese Kante lässt sich nichts sagen. Nicht nach ihr schneiden.",
    "verdict-unscaled": "Nur die Form: Es war keine Länge bekannt, also lässt sich nichts in Millimetern sagen.",
    "verdict-short": "Bekannt auf {known} {place_word}, das ist mehr als {tolerance}; die Aussicht, dass sie darin liegt, ist "
                     "{chance_percent:.0f}.",
    "verdict-look": "Bekannt auf {known}, aber: {doubt}",
    "verdict-good": "Bekannt auf {known} oder besser, innerhalb von {tolerance}.",
    "cure-length": "Eine weitere Länge messen, oder dieselbe genauer, und in den Auftrag schreiben.",
    "cure-lens": "Ein weiteres Foto mit um 90 Grad gedrehtem Telefon machen, oder die Kamera kalibrieren.",
    "cure-print": "Das Prüflineal eines gedruckten Blatts mit dem Messschieber messen und in den Auftrag schreiben.",
    "cure-thickness": "Die Dicke der Blätter mit ihrer Unterlage messen.",
    "cure-gap": "Die Anlegekante an die Wand drücken und noch einmal fotografieren.",
    "cure-definition": "Die Kante aus größerer Nähe fotografieren, oder ein Anlegeblatt daran legen.",
    "cure-photos": "Zwei weitere Fotos von {edge} aus größerer Nähe machen, mit den nächsten Blättern im Bild, oder dort noch "
                   "ein Blatt hinlegen.",
    "reading-edge": "die Kante der Oberseite",
    "reading-opening": "die innere Kante einer Leiste oder Wange, an der Öffnung eines Schranks",
    "reading-joint": "eine Linie auf der Oberseite (Fuge, Leimnaht, Klebeband, Schatten)",
    "reading-face": "die Tür oder Schublade vor dem Korpus",
    "reading-gap": "der Spalt hinter einer Tür",
    "reading-frame": "die Fuge hinter einem Frontrahmen oder neben einer Seitenwand",
    "reading-two-edges": "zwei Kanten mit einer Lücke von {gap_mm:.0f} dazwischen, falls die Platte dort an einem Gerät endet",
    "reading-door": "eine Linie davor und darunter (Tür, Schublade, Front)",
    "reading-raised": "eine Linie darüber (etwas, das auf der Oberseite liegt)",
    "reading-chance": "keine Linie",
    "reading-other-line": "die Linie {by_mm:.1f} weiter {way_word} ist die Kante, und dies ist {what}",
    "wall-help": "Ein Richtscheit an die Wand halten und den Spalt mit Fühlerlehren messen, oder vor Ort anreißen.",
    "caution-dust": "Quarzstaub: Beim Schneiden, Schleifen und Bohren von Stein entsteht Staub, der die Lunge zerstört. Nass "
                    "oder mit Absaugung arbeiten, eine angepasste Atemschutzmaske tragen (29 CFR 1910.1053 in der Werkstatt, "
                    "1926.1153 auf der Baustelle; strengere örtliche Regeln gehen vor).",
    "caution-weight": "Gewicht: Platten brechen wie Glas. Aufrecht tragen, mit genug Leuten oder Gerät; die Gewichte hier sind "
                      "geschätzt.",
    "caution-gas": "Gas- und Elektrogeräte werden nur von zugelassenen Leuten abgeklemmt und angeschlossen.",
    "caution-overhang": "Überstände und Spannweiten über die gezeigten Grenzen hinaus brauchen eigens entworfene Stützen.",
    "caution-codes": "Örtliche Vorschriften und die Datenblätter der Hersteller gehen jeder Zahl auf diesem Blatt vor.",
}
