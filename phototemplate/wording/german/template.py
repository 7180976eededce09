"""German words of the findings and checks about outline and pieces."""

from __future__ import annotations

from phototemplate.wording.words import CheckWords, Words

WORDS: dict[str, Words] = {
    # outline
    "loop-open": Words(
        "Kanten schließen sich nicht zu einer Zeile",
        "Zeile {where} ist zwischen {first} und {second} offen, die Lücke ist {gap_mm:.1f}"
        "[: {edge} müsste {extension_mm:.0f} über das Gesehene hinauslaufen][: die Linien von {apart} treffen sich nicht].",
        "Verfolgen Sie die fehlende Kante dazwischen, oder berichtigen Sie die Reihenfolge der Kanten.",
    ),
    "loop-edge-missing": Words(
        "einer Zeile fehlt eine Kante, die nicht gefunden wurde",
        "Die Zeile ist offen, wo {edges} sein sollte; das wurde nicht gefunden.",
        "Siehe {edges}.",
    ),
    "loop-levels": Words(
        "eine Zeile verbindet Kanten in mehreren Höhen",
        "Die Zeile {where} verbindet {edges}, die der Reihe nach in den Höhen {levels} liegen; keine Platte hat einen "
        "solchen Umriss.",
        "Zeichnen Sie die Kante dieser Platte, wo sie an der anderen Höhe endet, oder machen Sie für jede Höhe eine Zeile.",
    ),
    "corner-unseen": Words(
        "eine Wand ist nicht bis in ihre Ecke zu sehen",
        "{where} ist nur bis {beyond_mm:.0f} vor der Ecke mit {neighbour} zu sehen; Wände schwellen gerade dort oft "
        "an, mehr als "
        "eine Kurve erraten kann.",
        "Kleben Sie einen Streifen bis in die Ecke, fotografieren Sie sie aus der Nähe, oder probieren Sie die Ecke vor dem "
        "Schneiden mit einem Druck in voller Größe.",
    ),
    "corner-grazing": Words(
        "zwei Kanten treffen sich flach, ihre Ecke ist unsicher",
        "{first} und {second} der Zeile {loop} treffen sich unter {angle_deg:.1f}; ein kleiner Fehler verschiebt ihre "
        "Ecke weit.",
        "Fassen Sie sie zu einer Kante zusammen, oder legen Sie ein Blatt an die Ecke und fotografieren Sie sie.",
    ),
    "interval-not-normal": Words(
        "ein Bereich ist zu unsymmetrisch für U allein",
        "Die Länge von {where} ist {length_mm:.1f} mit U {U_mm:.2f} nach üblicher Fortpflanzung, nach Monte Carlo "
        "liegt sie aber "
        "zwischen {low_mm:.2f} und {high_mm:.2f}.",
        "Vertrauen Sie dem weiteren Bereich; bei einer flachen Ecke müssen die Kanten näher an ihr zu sehen sein.",
    ),
    "tolerance": Words(
        "Urteil über eine Kante gegen die Toleranz",
        "{where}: {verdict_word} auf {tolerance_mm:.2f} (U {U_mm:.2f}[ bei {place}]).",
        "[{remedy} Dann wäre U {remedy_U_mm:.2f}.]",
    ),
    # what to do next
    "do-length": Words(
        "eine weitere bekannte Länge",
        "Messen Sie mit dem Bandmaß den Abstand der Mitten von {sheets} (etwa {about_mm:.0f}) und geben Sie ihn als "
        "bekannte Länge "
        "an.",
    ),
    "do-photo": Words(
        "ein weiteres Foto der Küche",
        "Machen Sie noch ein Foto[, {away_mm:.0f} vor Blatt {stand}, die Kamera {above_mm:.0f} über den "
        "Schrankflächen, auf Blatt "
        "{look} gerichtet], mit möglichst vielen anderen Blättern darin.",
    ),
    "do-board-photo": Words(
        "ein weiteres Foto der Tafel",
        "Machen Sie noch ein Foto der Tafel: {tilt_word}, in {place_word}, {size_word}[, {turn_word}].",
    ),
    "do-photo-along": Words(
        "ein weiteres Foto einer ganzen Kante",
        "Machen Sie noch ein Foto, das {where} ganz zeigt, von einer anderen Seite.",
    ),
    "do-photo-corner": Words(
        "ein weiteres Foto der Ecke einer Kante",
        "Machen Sie ein Foto, das {where} bis in die Ecke zeigt, und zeichnen Sie die Kante bis dorthin.",
    ),
    "do-contact-more": Words("ein weiteres Anlegeblatt", "Legen Sie noch ein Anlegeblatt an {where}."),
    "do-contact-corner": Words(
        "ein Anlegeblatt nah an der Ecke", "Legen Sie noch ein Anlegeblatt nah an der Ecke an {where}."
    ),
    "do-contact-instead": Words(
        "Anlegeblätter statt einer verfolgten Kante",
        "Legen Sie an jedes Ende von {where} ein Anlegeblatt, messen Sie mit der Fühlerlehre, wie weit sie abstehen, "
        "und nehmen Sie "
        "die Kante von den Blättern.",
    ),
    "do-feelers": Words(
        "wie weit Anlegeblätter abstehen",
        "Messen Sie mit der Fühlerlehre, wie weit die Anlegeblätter von {where} abstehen, und geben Sie den Spalt an.",
    ),
    "do-strip-corner": Words(
        "ein Wandstreifen bis in die Ecke", "Kleben Sie den Wandstreifen von {where} bis in die Ecke."
    ),
    "do-strip-middle": Words(
        "ein Wandstreifen, der festzukleben ist",
        "Kleben Sie den Wandstreifen {where} auch in der Mitte fest an die Wand, und fotografieren Sie ihn noch einmal.",
    ),
    "do-strip-thickness": Words(
        "wie dick ein Wandstreifen ist",
        "Messen Sie Papier und Band des Wandstreifens zusammen mit dem Messschieber, und geben Sie die Dicke an.",
    ),
    "do-sheet-thickness": Words(
        "wie dick die Blätter sind", "Messen Sie die Dicke der Blätter mit dem Messschieber, und geben Sie sie an."
    ),
    "do-choose": Words(
        "welche von zwei Linien die Kante ist",
        "An {where} laufen zwei Linien dicht beieinander: sehen Sie die Fotos an und sagen Sie, welche die Kante ist.",
    ),
    # pieces
    "edge-moved": Words(
        "eine Kante wurde gerade, parallel, rechtwinklig oder in Flucht gelegt",
        "{edge} von Stück {piece} wird {rule} geschnitten: Anfang, Mitte und Ende rücken um {start_mm:+.1f}, {middle_mm:+.1f} "
        "und {end_mm:+.1f} nach außen; der größte Spalt ist {gap_mm:.1f}, {gap_at_mm:.0f} vom Anfang.",
    ),
    "edge-into-wall": Words(
        "eine gerade Kante liefe in die Wand",
        "{edge} von Stück {piece}, {rule} geschnitten, liefe {at_mm:.0f} vom Anfang {depth_mm:.1f} in {finish}.",
        "Geben Sie ihr {depth_mm:.1f} mehr Luft, oder lassen Sie sie der gemessenen Kante folgen.",
    ),
    "inside-corner-tight": Words(
        "eine Innenecke ist enger als Werkzeug oder Werkstatt zulassen",
        "Innenecke {corner} von Stück {piece} hat den Radius {radius_mm:.1f}[, unter dem des Fräsers von {cutter_mm:.1f}]"
        "[, unter dem kleinsten der Werkstatt von {shop_mm:.1f}]; von engen Innenecken gehen Risse aus.",
        "[Geben Sie ihr einen Radius von {give_mm:.1f} oder mehr.][Entlasten Sie sie mit einer Bohrung hinter der "
        "Wischleiste an "
        "{wall}.]",
    ),
    "overhang-unsupported": Words(
        "ein Überstand ist größer als ohne Stütze üblich",
        "{edge} von Stück {piece} steht {overhang_mm:.0f} über; ohne Stütze üblich sind {limit_mm:.0f}.",
        "Lassen Sie Stützen dafür bemessen, oder verringern Sie den Überstand.",
    ),
    "span-unsupported": Words(
        "der Stein überspannt mehr, als ohne Stütze üblich ist",
        "Über {where} spannt der Stein {span_mm:.0f}; üblich sind höchstens {limit_mm:.0f}.",
        "Tragen Sie ihn von unten.",
    ),
    "cutout-near-edge": Words(
        "zwischen Ausschnitt oder Bohrung und Kante bleibt wenig Stein",
        "Zwischen {cutout} und {edge} von Stück {piece} bleiben nur {web_mm:.0f} Stein; Werkstätten lassen {limit_mm:.0f}.",
        "Verschieben Sie ihn, oder tragen Sie den Steg von unten.",
    ),
    "cutout-near-seam": Words(
        "ein Ausschnitt oder eine Bohrung liegt nah an einer Fuge",
        "Zwischen {cutout} und Fuge {edge} von Stück {piece} bleiben nur {web_mm:.0f} Stein; Werkstätten lassen "
        "{limit_mm:.0f}.",
        "Verschieben Sie die Fuge oder den Ausschnitt, oder tragen Sie den Steg von unten.",
    ),
    "cutouts-near": Words(
        "zwischen zwei Ausschnitten oder Bohrungen bleibt wenig Stein",
        "Zwischen {first} und {second} von Stück {piece} bleiben nur {web_mm:.0f} Stein; Werkstätten lassen {limit_mm:.0f}.",
        "Verschieben Sie einen davon.",
    ),
    "cutout-over-dishwasher": Words(
        "ein Ausschnitt liegt über einer Spülmaschine",
        "Ausschnitt {cutout} reicht über die Spülmaschine {dishwasher}: Becken oder Brennerkasten und Maschine können "
        "sich treffen, "
        "und die Maschine findet nichts zum Anschrauben.",
        "Verschieben Sie Ausschnitt oder Maschine; vergleichen Sie die Blätter der Hersteller.",
    ),
    "seam-through-cutout": Words(
        "eine Fuge läuft durch einen Ausschnitt",
        "Fuge {seams} läuft durch Ausschnitt {cutout} von Stück {piece}.",
        "Sorgen Sie dafür, dass der Schrank den Stein vor und hinter dem Ausschnitt trägt, oder verschieben Sie die Fuge.",
    ),
    "seam-over-dishwasher": Words(
        "eine Fuge liegt über einer Spülmaschine",
        "Fuge {where} liegt über der Spülmaschine {dishwasher}, wo nichts sie trägt und Dampf sie erreicht.",
        "Verschieben Sie die Fuge über einen Schrank.",
    ),
    "seam-proposed": Words(
        "eine Fuge wird vorgeschlagen",
        "Stück {piece} könnte eine Fuge haben[ an der Innenecke {corner}][, weil es größer ist als die Tafel aus {material}].",
        "Dafür schreiben Sie unter die Fugen des Stücks: {seam}.",
        in_app="Übernehmen Sie sie beim Stück, oder setzen Sie eine eigene.",
    ),
    "piece-over-slab": Words(
        "ein Stück ist größer als die Tafel",
        "Stück {piece} braucht {long_mm:.0f} mal {short_mm:.0f}; die Tafel gibt {slab_long_mm:.0f} mal {slab_short_mm:.0f}.",
        "Setzen Sie eine Fuge (siehe die Vorschläge), oder wählen Sie eine größere Tafel.",
    ),
    "piece-heavy": Words(
        "ein Stück ist zu schwer für eine Person",
        "Stück {piece} wiegt etwa {weight_kg:.0f} ({weight_lb:.0f}); das verlangt [mindestens {n_people} Personen oder "
        "]Hebezeug.",
        "Planen Sie das Tragen vor dem Schneiden.",
    ),
    "cabinets-not-flat": Words(
        "die Schrankflächen sind nicht eben genug",
        "Zwischen {first} und {second} unterscheiden sich die Schrankflächen um {step_mm:.1f} (U {U_mm:.1f}); erlaubt sind "
        "{limit_mm:.1f} auf {within_mm:.0f}.",
        "Unterlegen Sie nach der Liste, bevor der Stein aufgelegt wird.",
    ),
    "size-unusual": Words(
        "ein Maß liegt außerhalb des Üblichen",
        "Maß {size} von {where} ist {size_mm:.0f}; üblich ist {low_mm:.0f} bis {high_mm:.0f}.",
        "Prüfen Sie, ob die richtigen Kanten verfolgt wurden, und vergleichen Sie das Blatt des Herstellers; die "
        "Messung bleibt.",
    ),
    "opening-tight": Words(
        "eine Öffnung lässt neben dem Gerät keinen Platz",
        "An {size} steht die Wange {room_mm:.1f} (U {U_mm:.1f}) innerhalb der Öffnung.",
        "Prüfen Sie, ob das Gerät zwischen die Wangen passt; siehe das Blatt des Herstellers.",
    ),
    "cutout-off-centre": Words(
        "ein Ausschnitt liegt neben der Mittellinie des Schranks",
        "Ausschnitt {cutout} liegt {off_mm:.1f} neben der Mittellinie {centre}.",
        "Prüfen Sie, ob das Becken zwischen die Schrankseiten passt, oder richten Sie es an der Mittellinie aus.",
    ),
    "maker-room-short": Words(
        "ein Herstellerblatt verlangt mehr Platz",
        "Ausschnitt {cutout} hat {room_mm:.1f} bis zur Wand ({side}), wo Blatt {sheet} {asked_mm:.1f} verlangt.",
        "Verschieben Sie den Ausschnitt oder wählen Sie ein anderes Gerät; das Herstellerblatt geht vor.",
    ),
    "maker-asks": Words(
        "ein Herstellerblatt verlangt, was hier nicht geprüft wird",
        "Das Herstellerblatt {where} verlangt mehr, als der Stein zeigt[: Belüftung, {ventilation}][; {above_mm:.0f} Luft "
        "darüber][; {below_mm:.0f} Luft darunter].",
        "Richten Sie sich danach mit dem Herstellerblatt in der Hand; es geht vor.",
    ),
    "opening-no-room": Words(
        "eine Öffnung ist nicht breiter, als das Gerät braucht",
        "Öffnung {where} ist {clear_mm:.1f} breit; ein Gerät von {appliance_mm:.1f} behält auf jeder Seite "
        "{room_mm:.1f}, verlangt "
        "sind {asked_mm:.1f}.",
        "Geben Sie die Breite des Geräts und die Luft an, die sein Hersteller verlangt, und verbreitern Sie die Öffnung.",
    ),
    "receptacle": Words(
        "Steckdosen an der Arbeitsplatte",
        "Stück {piece}[ entlang {edge}] verlangt nach der gewählten Ausgabe mindestens {n_receptacles:Steckdose|Steckdosen}.",
        "Ein zugelassener Elektriker entscheidet nach den örtlichen Vorschriften.",
    ),
    "accessibility": Words(
        "ein Maß der Barrierefreiheit ist nicht eingehalten",
        "Eine barrierefreie Arbeitsfläche liegt höchstens {limit_mm:.0f} über dem Boden[; diese liegt bei {height_mm:.0f}]"
        "[; {missing} ist nicht angegeben].",
        "Legen Sie sie tiefer, machen Sie sie verstellbar, oder geben Sie finished_height bei den Regeln der Werkstatt an; die "
        "Behörde entscheidet.",
    ),
}

CHECKS: dict[str, CheckWords] = {
    "overhang": CheckWords(
        "Überstand ohne Stütze", "{overhang_mm:.0f}", "{limit_mm:.0f} bei {thickness_mm:.0f}, Tiefe {depth_mm:.0f}"
    ),
    "cutout-edge": CheckWords("Stein zwischen Ausschnitt und Kante", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "cutout-seam": CheckWords("Stein zwischen Ausschnitt und Fuge", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "cutout-cutout": CheckWords("Stein zwischen Ausschnitten", "{web_mm:.0f}", "{limit_mm:.0f}"),
    "inside-radius": CheckWords("Radius der Innenecke", "{radius_mm:.1f}", "{limit_mm:.1f}"),
    "slab": CheckWords("Größe der Tafel", "{long_mm:.0f} x {short_mm:.0f}", "{slab_long_mm:.0f} x {slab_short_mm:.0f} nutzbar"),
    "weight": CheckWords("Gewicht", "{weight_kg:.0f} ({weight_lb:.0f})", "{limit_kg:.0f} für eine Person"),
    "usual-depth": CheckWords("übliche Tiefe", "{size}: {size_mm:.0f}", "{low_mm:.0f} bis {high_mm:.0f}"),
    "receptacles": CheckWords("Steckdosen", "{run_mm:.0f}", "mindestens {n_receptacles:Steckdose|Steckdosen}"),
    "seam-dishwasher": CheckWords("Fuge über einer Spülmaschine", "[{dishwasher}]", "keine"),
    "cutout-dishwasher": CheckWords("Ausschnitt über einer Spülmaschine", "[{dishwasher}]", "keiner"),
    "span": CheckWords("Spannweite zwischen Stützen", "{span_mm:.0f}", "{limit_mm:.0f} bei {thickness_mm:.0f}"),
    "opening-width": CheckWords("übliche Breite der Öffnung", "{size_mm:.0f}", "{low_mm:.0f} bis {high_mm:.0f}"),
    "opening-room": CheckWords("Platz neben dem Gerät", "{room_mm:.1f} je Seite", "{asked_mm:.1f} je Seite"),
    "cutout-centre": CheckWords(
        "Ausschnitt auf der Mittellinie seines Schranks", "{off_mm:.1f} neben {centre}", "{limit_mm:.1f}"
    ),
    "maker-room": CheckWords("Platz, den der Hersteller verlangt",
                             "[{side}: {room_mm:.1f}][{open_side}: keine Wand]", "{asked_mm:.1f}"),
    "maker-asks": CheckWords(
        "was der Hersteller sonst verlangt", "[{ventilation}]", "[{above_mm:.0f} darüber] [{below_mm:.0f} darunter]"
    ),
    "opening-panel": CheckWords("Wange in einer Öffnung", "{size}: {room_mm:.1f} (U {U_mm:.1f})", "0"),
    "flatness": CheckWords("Ebenheit der Schränke", "{step_mm:.1f} (U {U_mm:.1f})", "{limit_mm:.1f} auf {within_mm:.0f}"),
    "height": CheckWords(
        "Höhe einer barrierefreien Arbeitsfläche", "[{height_mm:.0f}][{missing} nicht angegeben]", "höchstens {limit_mm:.0f}"
    ),
}
"""What every check is called, what it found and against which limit"""
