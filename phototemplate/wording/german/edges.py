"""German words of the findings about edges."""

from __future__ import annotations

from phototemplate.wording.words import Words

DRAW_AGAIN = (
    "Zeichnen Sie sie in einem anderen Foto noch einmal, näher an der Kante, oder nehmen Sie Anlegeblatt oder "
    "Wandstreifen."
)
CHECK_EDGE = "Sehen Sie nach, ob das die Kante der Schrankfläche ist; wenn ja, gleichen Sie den Schrank aus."

WORDS: dict[str, Words] = {
    "edge-not-found": Words(
        "eine Kante wurde nicht gefunden",
        "{where} wurde nicht gefunden: {reason_word}.",
        DRAW_AGAIN,
    ),
    "edge-line-weak": Words(
        "keine Linie an dieser Stelle ist deutlich genug",
        "{where} wurde nicht gefunden: die deutlichste Linie dort ist auf {support_percent:.0f} ihrer Länge zu sehen und "
        "liegt {rise_mm:+.1f} neben der Höhe der Schrankflächen; das reicht nicht, sie die Kante zu nennen.",
        DRAW_AGAIN,
    ),
    "edge-off-path": Words(
        "was gefunden wurde, verlässt den gezeichneten Weg",
        "{where} wurde nicht gemessen: was gefunden wurde, weicht {off_mm:.0f} von ihrem Weg ab, gesucht wurde "
        "je Seite {search_mm:.0f}.",
        "Zeichnen Sie den Weg noch einmal mit Punkten auf der Kante selbst, bei einer runden drei oder mehr, oder lassen Sie "
        "je Seite mehr zu.",
    ),
    "edge-level-unknown": Words(
        "eine Kante soll in einer Höhe liegen, die es nicht gibt",
        "{where} soll in der Höhe {level} liegen, aber die Flächen liegen in {levels}.",
        "Berichtigen Sie level = an dieser Kante in der Auftragsdatei, oder nennen Sie die Höhe an den Schränken, die darin "
        "liegen.",
        in_app="Sagen Sie an der Kante, in welcher Höhe sie liegt.",
    ),
    "edge-level-unclear": Words(
        "eine Kante kann in zwei Höhen liegen",
        "{where} wurde nicht gemessen: sie kann in der Höhe {level} liegen oder in {other}.",
        "Sagen Sie mit level = an dieser Kante in der Auftragsdatei, in welcher, oder zeichnen Sie sie in einem Foto neu, das "
        "die Kante deutlich zeigt.",
        in_app="Sagen Sie an der Kante, in welcher Höhe sie liegt.",
    ),
    "edge-single-view": Words(
        "eine Kante ist nur in einem Foto zu sehen",
        "{where} ist auf {single_percent:.0f} der Länge nur in einem Foto zu sehen; die Höhe ist angenommen (U {U_mm:.0f}).",
        "Fotografieren Sie sie noch einmal von anderer Stelle.",
    ),
    "edge-above-plane": Words(
        "eine Kante liegt über der Arbeitsebene",
        "{where} liegt {height_mm:.1f} über der Arbeitsebene.",
        CHECK_EDGE,
    ),
    "edge-below-plane": Words(
        "eine Kante liegt unter der Arbeitsebene",
        "{where} liegt {height_mm:.1f} unter der Arbeitsebene.",
        CHECK_EDGE,
    ),
    "edge-ambiguous": Words(
        "zwei Kanten liegen dicht beieinander",
        "Bei {where} laufen zwei Kanten im Abstand von {apart_mm:.1f}; genommen ist die {taken_word}.",
        'Sehen Sie in den Fotos nach. In der Auftragsdatei nimmt line = "{line}" an dieser Kante die andere, line = "box" '
        "bestätigt diese.",
        in_app="Sehen Sie in den Fotos nach und sagen Sie an der Kante, welche Linie gemeint ist.",
    ),
    "edge-double-line": Words(
        "eine zweite Linie läuft zu dicht an einer Kante",
        "Bei {where} laufen zwei Kanten im Abstand von {apart_mm:.1f}; genommen ist die deutlichere innere, die äußere liegt "
        "zu dicht daneben, um für sich verfolgt zu werden.",
        "Sehen Sie aus der Nähe nach; ist die äußere die Kante, entfernen Sie, was dahinter liegt (Klebeband, harter "
        "Schatten), oder fotografieren Sie aus halber Entfernung.",
    ),
    "edge-door-unclear": Words(
        "es ist nicht sicher, welche Linie die Vorderseite der Türen ist",
        "Bei {where} wurde die Linie {out_mm:.1f} vor der Kante des Korpus und {below_mm:.1f} unter ihr für die Vorderseite "
        "der Türen genommen; sicher ist das nicht.",
        "Sehen Sie in den Fotos nach, messen Sie den Abstand vom Korpus zur Tür mit einem Maßstab nach und fotografieren Sie "
        "die Oberkanten der Türen schräg von oben.",
    ),
    "edge-wavering": Words(
        "eine Kante schwankt zwischen dicht benachbarten Linien",
        "Was die Fotos an {where} zeigen, schwankt zwischen dicht benachbarten Linien; {added_U_mm:.1f} kamen zu U hinzu.",
        "Sehen Sie aus der Nähe nach, kleben Sie dunkles Band dicht unter die Kante, oder legen Sie ein Blatt an.",
    ),
    "edge-gaps": Words(
        "ein Teil einer Kante ist verdeckt",
        "Von {where} sind {gap_mm:.0f} in allen Fotos verdeckt.",
        "Das schadet nicht, wo die Kante gerade ist; sonst räumen Sie sie frei und machen Sie noch ein Foto davon.",
    ),
    "contact-sheet-unplaced": Words(
        "ein Anlegeblatt war nicht einzuordnen",
        "Anlegeblatt {sheet} von {where} wurde nicht genutzt: kein Foto zeigt es gut genug.",
        "Nehmen Sie es in zwei oder mehr Fotos auf, oder nehmen Sie seinen Namen von der Kante.",
    ),
    "contact-sheet-no-edge": Words(
        "ein als Anlegeblatt genanntes Ziel hat keine Anlegekante",
        "Anlegeblatt {sheet} von {where} wurde nicht genutzt: es hat keine Anlegekante.",
        "Nehmen Sie seinen Namen von der Kante, oder nehmen Sie ein Blatt mit geschnittener Kante.",
    ),
    "strip-missing": Words(
        "ein Wandstreifen wurde nicht gefunden",
        "Streifen {strip} von {where} wurde nicht in zwei oder mehr Fotos gefunden.",
        "Fotografieren Sie ihn noch einmal, oder nehmen Sie seinen Namen von der Kante.",
    ),
    "edge-not-straight": Words(
        "eine Kante ist nicht so gerade, wie gesagt",
        "{where} ist nicht gerade: sie weicht {off_mm:.1f} (U {U_mm:.1f}) von der Geraden ab, {at_mm:.0f} vom Anfang.",
        "Wählen Sie die Form Verlauf (shape = \"profile\"), oder sehen Sie nach, ob die richtige Kante verfolgt wurde.",
        in_app="Lassen Sie ihre Form jeder Beule folgen, oder sehen Sie nach, ob die richtige Kante verfolgt wurde.",
    ),
    "contact-sheets-uneven": Words(
        "Anlegeblätter einer Kante liegen nicht in einer Linie",
        "Die Anlegeblätter von {where} liegen bis {off_mm:.1f} neben einer Geraden.",
        "Ist die Wand nicht gerade, wählen Sie die Form Verlauf oder einen Wandstreifen; sonst lag ein Blatt nicht an.",
    ),
    "strip-loose": Words(
        "ein Teil eines Wandstreifens liegt nicht an",
        "Ziele des Streifens {strip} von {where} stehen {off_mm:.1f} von ihren Nachbarn ab und blieben außer Betracht.",
        "Drücken Sie den Streifen an die Wand, oder sehen Sie nach, ob etwas davor steht.",
    ),
    "edge-short": Words(
        "von einer Kante ist wenig zu sehen",
        "Nur {seen_mm:.0f}[ von {expected_mm:.0f}] von {where} sind zu sehen, darum ist ihre Richtung unsicher.",
        "Räumen Sie weg, was davor steht, und machen Sie noch ein Foto der ganzen Kante.",
    ),
    "edge-few-points": Words(
        "zu wenige Punkte für die Form einer Kante",
        "{where} hat {n_points:Punkt|Punkte}, die {shape_word} nicht zeigen können; eine Gerade wurde genommen.",
        "Legen Sie mehr Blätter oder Streifen an die Kante, oder wählen Sie gerade.",
    ),
    "edge-outliers": Words(
        "viele Punkte einer Kante passen nicht zu ihr",
        "Von {where} passen {n_left_out} von {n_points} Punkten nicht zu den übrigen und blieben außer Betracht.",
        "Sehen Sie den Verlauf im Bericht an: ein Teil folgt vielleicht einer anderen Kante oder einem Schatten.",
    ),
}
