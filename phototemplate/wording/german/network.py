"""German words of the findings about network and work plane."""

from __future__ import annotations

from phototemplate.wording.words import Words

TOGETHER = "Machen Sie noch ein Foto, das seine Ziele zusammen mit denen der anderen Fotos zeigt."
SAME_KIND = "Kalibrieren Sie dieses Objektiv mit Fotos eben dieser Art, oder nehmen Sie ein um 90 Grad gedrehtes Foto dazu."
LENS_HELP = (
    "[Ein weiteres Foto {how_words} brächte <u({parameters}) von {before_value:.2g} auf {after_value:.2g}>. ]Es helfen um 90 "
    "Grad gedrehte Fotos und Fotos von der anderen Seite, und eine Kalibrierung der Kamera (`phototemplate calibrate`)."
)
MORE_CORNERS = "Machen Sie mehr Fotos, die Tafel in jeder Ecke des Bildes und nach allen Seiten geneigt."
BOTH_ENDS = "Legen Sie Blätter an beide Enden jeder Zeile, manche an die Vorderkante und manche nach hinten."
CALLIPER = "Sagen Sie, was unter den Blättern liegt; messen Sie Papier und Tafel zusammen mit dem Messschieber."

WORDS: dict[str, Words] = {
    # network
    "photo-no-view": Words(
        "ein Foto zeigt kein Ziel gut genug",
        "{where} war nicht einzuordnen: es zeigt kein Ziel gut genug; es blieb außer Betracht.",
        TOGETHER,
        several="{n:Foto zeigt|Fotos zeigen} kein Ziel gut genug und blieben außer Betracht.",
    ),
    "photo-unconnected": Words(
        "ein Foto hat kein Ziel mit den anderen gemeinsam",
        "{where} war nicht einzuordnen: es hat kein Ziel mit den anderen Fotos gemeinsam (es zeigt {targets}); es blieb außer "
        "Betracht.",
        TOGETHER,
        several="{n:Foto hat|Fotos haben} kein Ziel mit den anderen gemeinsam (zu sehen: {targets}) und blieben außer "
        "Betracht.",
    ),
    "photo-misfit": Words(
        "ein Foto passt nicht zu den anderen",
        "{where} war nicht einzuordnen: seine Ziele {targets} passen nicht zu den anderen Fotos; es blieb außer Betracht.",
        TOGETHER,
        several="{n:Foto war|Fotos waren} nicht einzuordnen und blieben außer Betracht: ihre Ziele {targets} passen "
        "nicht zu den "
        "anderen Fotos.",
    ),
    "photo-contradicts": Words(
        "ein Foto widerspricht den anderen",
        "{where} widerspricht den anderen Fotos; es blieb außer Betracht.",
        "Machen Sie es noch einmal.",
        several="{n:Foto widerspricht|Fotos widersprechen} den anderen und blieben außer Betracht.",
    ),
    "adjustment-unconverged": Words(
        "die Ausgleichung kam zu keinem Ende: nicht danach schneiden",
        "Die Ausgleichung der Fotos kam zu keinem Ende; nach dem hier Gemessenen darf nichts geschnitten werden.",
        "Machen Sie mehr Fotos von anderen Stellen, jedes mit mehreren Blättern; lassen Sie Fotos weg, die falsch aussehen.",
    ),
    "residuals-unexplained": Words(
        "die Fotos widersprechen einander zu sehr: nicht danach schneiden",
        "Ziele liegen {larger_ratio:.1f}-mal so weit daneben, wie sie zu sehen sind[, am meisten in {places}]; weder Rauschen "
        "noch was eine Kamera tut erklärt das, darum lässt sich keine Unsicherheit nennen, und danach darf nichts geschnitten "
        "werden.",
        "Sehen Sie nach, ob Blätter flach und fest liegen, lassen Sie verwischte oder beschnittene Fotos weg, und machen Sie "
        "mehr Fotos.",
    ),
    "residuals-larger": Words(
        "Ziele liegen weiter daneben als gesagt, U wurde vergrößert",
        "Ziele liegen {larger_ratio:.1f}-mal so weit daneben, wie sie zu sehen sind[, am meisten in {places}]; jede "
        "Unsicherheit wurde ebenso vergrößert.",
        "Halten Sie die Kamera ruhig und kleben Sie die Blätter fest; schärfere Fotos machen sie kleiner.",
    ),
    "single-photo": Words(
        "nur ein Foto: alles ruht auf der angenommenen Ebene",
        "Nur ein Foto war zu gebrauchen: Höhen sind nicht gemessen, die Blätter gelten als in einer Ebene.",
        "Machen Sie Fotos von mindestens drei Stellen.",
    ),
    "weak-geometry": Words(
        "die Fotos blicken von zu ähnlichen Stellen",
        "Die Fotos sehen die Blätter aus Richtungen, die nur {apart_deg:.0f} auseinanderliegen; Höhen sind unsicher.",
        "Nehmen Sie Fotos von beiden Enden der Zeile und von weiter oben dazu.",
    ),
    "lens-not-determined": Words(
        "die Fotos allein bestimmen das Objektiv nicht ganz",
        "Die Fotos bestimmen {assumed} des Objektivs nicht; übliche Werte wurden angenommen.[ Bestimmt sind {determined}.]",
        LENS_HELP,
    ),
    "lens-few-views": Words(
        "die Fotos blicken fast von derselben Stelle, das Objektiv ruht auf wenigen Blicken",
        "Die Fotos blicken fast von derselben Stelle, darum ruht das Objektiv auf wenigen Blicken.[ Bestimmt sind "
        "{determined}.]",
        LENS_HELP,
    ),
    "lens-model": Words(
        "ein sehr weites Objektiv gilt als Fischauge",
        "Dieses Objektiv gilt als Fischauge: {n_agree:Ziel passt|Ziele passen} dazu, {n_pinhole} zu einem gewöhnlichen.",
        "Kalibrieren Sie es (`phototemplate calibrate`), oder nehmen Sie die Hauptkamera.",
    ),
    "focal-contradicts": Words(
        "ein Foto nennt eine andere Brennweite, als seine Blätter zeigen",
        "Die Fotos nennen eine Brennweite von {stated_px:.0f}, die Blätter darin zeigen etwa {seen_px:.0f}: beschnitten, "
        "gezoomt oder von einem Programm entzerrt?",
        "Nehmen Sie die Fotos, wie die Kamera sie gespeichert hat; genommen wurde der Wert der Blätter.",
    ),
    "lens-differs": Words(
        "das gefundene Objektiv weicht von seinem Profil ab",
        "Das gefundene Objektiv (f {found_px:.0f}) weicht stärker von seinem Profil (f {profile_px:.0f}) ab, als das Profil "
        "zulässt.",
        "Kalibrieren Sie die Kamera neu; prüfen Sie, ob Zoom und Bildgröße die des Profils sind.",
    ),
    "profile-dropped": Words(
        "ein Kameraprofil passt nicht zu den Fotos und wurde nicht genutzt",
        "Das gefundene Objektiv (f {found_px:.0f}) weicht stärker von seinem Profil (f {profile_px:.0f}) ab, als das Profil "
        "zulässt; das Profil wurde nicht genutzt.",
        "Kalibrieren Sie die Kamera neu; prüfen Sie, ob Zoom und Bildgröße die des Profils sind.",
    ),
    "profile-turned": Words(
        "Fotos wurden nach ihrem Profil von einem Programm gedreht",
        "Profil {profile} passt fast zu Fotos wie {photo}: ein Programm hat ihre Bildpunkte gedreht. Der Hauptpunkt wurde in "
        "die Mitte gelegt, mit größerer Unsicherheit.",
        SAME_KIND,
    ),
    "profile-resized": Words(
        "Fotos haben eine andere Größe als ihr Profil",
        "Profil {profile} passt fast zu Fotos wie {photo}: sie haben eine andere Größe ({wide_px} x {high_px} statt "
        "{own_wide_px} x {own_high_px}). Brennweite und Hauptpunkt wurden mit {scale_ratio} vervielfacht; die Unsicherheiten "
        "wurden {wider_ratio:g}-mal so groß angenommen.",
        SAME_KIND,
    ),
    "profile-cropped": Words(
        "Fotos sind gegenüber ihrem Profil beschnitten",
        "Profil {profile} passt fast zu Fotos wie {photo}: sie sind beschnitten ({wide_px} x {high_px} statt {own_wide_px} x "
        "{own_high_px}). Der Beschnitt gilt als mittig; die Unsicherheiten wurden {wider_ratio:g}-mal so groß angenommen.",
        SAME_KIND,
    ),
    "profile-cropped-resized": Words(
        "Fotos sind gegenüber ihrem Profil beschnitten und verkleinert",
        "Profil {profile} passt fast zu Fotos wie {photo}: sie sind beschnitten und in der Größe verändert ({wide_px} x "
        "{high_px} statt {own_wide_px} x {own_high_px}). Der Beschnitt gilt als mittig, Brennweite und Hauptpunkt wurden mit "
        "{scale_ratio} vervielfacht; die Unsicherheiten wurden {wider_ratio:g}-mal so groß angenommen.",
        SAME_KIND,
    ),
    "profile-zoomed": Words(
        "Fotos haben einen anderen digitalen Zoom als ihr Profil",
        "Profil {profile} passt fast zu Fotos wie {photo}: digitaler Zoom {zoom_ratio} statt {own_zoom_ratio}. Die Brennweite "
        "wurde mit {scale_ratio} vervielfacht; die Unsicherheiten wurden {wider_ratio:g}-mal so groß angenommen.",
        SAME_KIND,
    ),
    "profile-lens-name": Words(
        "das Objektiv der Fotos heißt anders als in ihrem Profil",
        "Profil {profile} passt fast zu Fotos wie {photo}: das Objektiv nennt sich {lens} statt {own_lens}. Es gilt als "
        "dasselbe; die Unsicherheiten wurden {wider_ratio:g}-mal so groß angenommen.",
        SAME_KIND,
    ),
    "calibration-other-camera": Words(
        "ein Foto der Kalibrierung ist von anderer Kamera oder anderem Zoom",
        "{where} ist von anderer Kamera, anderem Zoom oder anderer Bildgröße als die übrigen; es blieb außer Betracht.",
        "Kalibrieren Sie jedes Objektiv und jeden Zoom mit eigenen Fotos.",
        several="{n:Foto ist|Fotos sind} von anderer Kamera, anderem Zoom oder anderer Bildgröße und blieben außer Betracht.",
    ),
    "calibration-outlier": Words(
        "ein Foto der Tafel widerspricht den anderen",
        "{where} widerspricht den anderen Fotos[ (das {larger_ratio:.1f}-Fache der üblichen Reste)]; es blieb außer Betracht.",
        "War es ein anderer Zoom, ein anderes Objektiv, oder bog sich die Tafel? Machen Sie es noch einmal.",
        several="{n:Foto widerspricht|Fotos widersprechen} den anderen und blieben außer Betracht.",
    ),
    "calibration-rough": Words(
        "ein Foto der Tafel passt schlechter als die anderen",
        "{where} passt schlechter als die anderen Fotos: das {larger_ratio:.1f}-Fache ihrer Reste.",
        "Sehen Sie nach, ob es unscharf ist oder die Tafel sich bog; machen Sie es dann noch einmal.",
    ),
    "calibration-no-board": Words(
        "ein Foto zeigt die Tafel nicht",
        "{where} zeigt die Tafel nicht gut genug; es blieb außer Betracht.",
        "Fotografieren Sie die ganze Tafel, scharf und gleichmäßig beleuchtet.",
        several="{n:Foto zeigt|Fotos zeigen} die Tafel nicht gut genug und blieben außer Betracht.",
    ),
    "calibration-pattern": Words(
        "ein Objektiv weicht von jedem Modell ab",
        "Sehen Sie das Objektiv an: in den Resten bleibt ein Muster von {pattern_px:.2f}, das kein Modell erklärt.",
        MORE_CORNERS,
    ),
    "calibration-residuals": Words(
        "die Reste einer Kalibrierung sind größer, als ihre Ecken zulassen",
        "Die Reste von {rms_px:.2f} sind das {larger_ratio:.0f}-Fache dessen, was einzelne Ecken zulassen ({allowed_px:.2f}); "
        "das Objektiv ist nicht gut kalibriert.",
        "Ist die Tafel gebogen, wurde sie zwischen den Fotos bewegt oder gebogen, bewegt sich das Objektiv gegen Verwackeln, "
        "oder ist es von anderer Art? Nehmen Sie eine steife Tafel, die stillhält, und ein Stativ oder kurze Belichtung.",
    ),
    "calibration-corners": Words(
        "in einem Teil des Bildes war die Tafel nie zu sehen",
        "Das Objektiv ist kalibriert, aber in {corner_words} des Bildes war die Tafel nie zu sehen; dort ist es geraten.",
        MORE_CORNERS,
    ),
    "calibration-uncertain": Words(
        "die Fotos der Tafel lassen das Objektiv unsicher",
        "Die Fotos lassen das Objektiv unsicher (bis {U_px:.1f} bei k = 2).",
        MORE_CORNERS,
    ),
    "calibration-good": Words(
        "ein Objektiv ist gut kalibriert",
        "Das Objektiv ist gut kalibriert: Reste {rms_px:.2f}, überall bekannt auf {U_px:.1f} (k = 2) oder besser.",
    ),
    "sighting-rejected": Words(
        "ein falscher Blick blieb außer Betracht",
        "Von {n_sightings} Blicken in {where} blieben {n_rejected} außer Betracht (<{n_of} auf {target}>).",
    ),
    "sheet-moved": Words(
        "ein Blatt wurde zwischen den Fotos bewegt",
        "{where} liegt in {photos} {shift_mm:.1f} (U {U_mm:.2f})[ und {turn_deg:.1f}] anders als in den übrigen Fotos; dort "
        "blieb es außer Betracht.",
        "Kleben Sie die Blätter fest und fotografieren Sie noch einmal, oder nehmen Sie die Fotos von vorher heraus.",
    ),
    "strip-elsewhere": Words(
        "ein Wandstreifen hat sich gelöst",
        "{where} liegt in {photos}[ bis zu {shift_mm:.1f}] anders als in den übrigen Fotos; dort blieb er außer Betracht.",
        "Drücken Sie den Streifen auf ganzer Länge an die Wand, und fotografieren Sie diese Wand noch einmal.",
    ),
    "photo-smeared-corners": Words(
        "ein Foto ist verwischt",
        "Die Ecken in {where} liegen {larger_ratio:.1f}-mal so weit daneben, wie ihre Schärfe sagt, am meisten unter "
        "{direction_deg:.0f}; darum zählen sie weniger.",
        "Halten Sie das Telefon für dieses Foto still, mit beiden Händen oder angelehnt, und machen Sie es noch einmal.",
    ),
    "sheet-curled": Words(
        "ein Blatt liegt nicht flach",
        "{where} wölbt sich um {rise_mm:.1f}.",
        "Die Wölbung wurde gemessen und berücksichtigt; kleben Sie Blätter auf etwas Flaches.",
        several="{n:Blatt wölbt|Blätter wölben} sich um {rise_mm:.1f}.",
    ),
    "sheet-print-scale": Words(
        "ein Blatt ist in anderem Maßstab gedruckt",
        "{where} ist mit {size_percent:.1f} der Größe der anderen Ziele gedruckt.",
        "Seine eigene Größe wurde gemessen und genommen; drucken Sie es vor dem nächsten Auftrag neu mit 100 %.",
    ),
    "batch-print-scale": Words(
        "alle Ziele einer Art haben eine andere Größe als vorgesehen",
        "Alle Ziele der Art {batch} messen {size_percent:.1f} ihrer vorgesehenen Größe: entweder in anderem Maßstab gedruckt, "
        "oder die bekannte Länge ist falsch abgelesen.",
        "Halten Sie das Prüflineal eines Blattes gegen einen Stahlmaßstab, und prüfen Sie die bekannte Länge.",
    ),
    "scale-missing": Words(
        "keine bekannte Länge: Form ohne Maßstab",
        "Keine bekannte Länge war zu gebrauchen: die Form stimmt, ihre Größe ruht auf der vorgesehenen Größe der Drucke.",
        "Messen Sie einen Stab oder ein Bandmaß zwischen zwei Zielen und geben Sie die Länge an.",
    ),
    "length-contradicted": Words(
        "die anderen widersprechen einer bekannten Länge",
        "{where} ist mit {given_mm:.1f} angegeben, aus den anderen bekannten Längen folgen {found_mm:.1f}; sie blieb außer "
        "Betracht.",
        "Messen Sie nach und berichtigen Sie den Wert.",
    ),
    "lengths-disagree": Words(
        "bekannte Längen widersprechen einander",
        "Die bekannten Längen widersprechen einander (<{lengths}: {given_mm:.1f} angegeben, {found_mm:.1f} gefunden>); alle "
        "blieben und gelten {widened_ratio:.0f}-mal weniger.",
        "Messen Sie nach; eine davon ist falsch.",
    ),
    "length-unused": Words(
        "eine bekannte Länge war nicht zu gebrauchen",
        "{where} endet an {target}, das nicht in genug Fotos gefunden wurde.",
        "Machen Sie zwei weitere Fotos, die {target} zeigen, oder geben Sie eine Länge zwischen anderen Zielen an.",
    ),
    "length-unchecked": Words(
        "eine falsch abgelesene bekannte Länge fiele nicht auf",
        "Nichts prüft {where}: ein Ablesefehler[ bis {unseen_mm:.0f}] fiele nicht auf.",
        "Geben Sie eine zweite bekannte Länge an, etwa ein Bandmaß zwischen zwei entfernten Blättern.",
    ),
    # work plane
    "cabinet-low": Words(
        "ein Schrank liegt tiefer als die anderen",
        "Die Fläche bei {sheets} liegt {off_mm} tiefer als die anderen Schränke (U {U_mm}).",
        "Unterlegen Sie sie, bevor der Stein aufgelegt wird.",
    ),
    "cabinet-high": Words(
        "ein Schrank liegt höher als die anderen",
        "Die Fläche bei {sheets} liegt {off_mm} höher als die anderen Schränke (U {U_mm}).",
        "Setzen Sie sie tiefer, oder unterlegen Sie die anderen.",
    ),
    "level-found": Words(
        "die Schrankflächen liegen in mehreren Höhen",
        "Die Flächen bei {sheets} liegen {off_mm:.1f} {where_word} den anderen (U {U_mm:.1f}); sie gelten als eigene Höhe, "
        "{where}.",
        "Prüfen Sie, ob das stimmt; ihren Namen bekommt eine Höhe, und Schränke ihre Höhe, mit level = in der Auftragsdatei.",
    ),
    "level-one-sheet": Words(
        "ein Blatt liegt allein in einer anderen Höhe",
        "{sheets} liegt allein {off_mm:.1f} {where_word} den anderen (U {U_mm:.1f}); es gilt als eigene Höhe, {where}, deren "
        "Neigung nichts verrät.",
        "Legen Sie auf jede Höhe zwei Blätter oder mehr; liegt es auf einer Kiste oder einem Stapel, nehmen Sie die weg und "
        "fotografieren Sie neu.",
    ),
    "plane-few-sheets": Words(
        "die Arbeitsebene ruht auf zu wenigen Blättern",
        "Die Arbeitsebene ruht nur auf {n_sheets:Blatt|Blättern}; ihre Neigung kommt vom Papier.",
        BOTH_ENDS,
    ),
    "plane-narrow": Words(
        "die Blätter liegen fast in einer Linie",
        "Die Blätter liegen fast in einer Linie ({spread_mm:.0f} quer dazu), darum ist die Neigung der Arbeitsebene unsicher.",
        BOTH_ENDS,
    ),
    "thickness-unknown": Words(
        "niemand hat gesagt, was unter den Blättern liegt",
        "Niemand hat gesagt, wie dick {where} sind, Papier und Tafel zusammen, und keine Kante verrät es: 0,1 bis 4 mm wurden "
        "zugelassen.",
        CALLIPER,
    ),
    "thickness-found": Words(
        "die Dicke der Blätter folgt aus den Kanten",
        "Niemand hat gesagt, wie dick {where} sind, Papier und Tafel zusammen: aus den Höhen von {n_edges} Kanten folgen "
        "{found_mm:.1f} (U {U_mm:.1f}); das wurde genommen.",
        CALLIPER,
    ),
    "thickness-contradicted": Words(
        "die Kanten widersprechen der Dicke der Blätter",
        "Angegeben sind für {where} {given_mm:.1f}, Papier und Tafel zusammen; aus den Höhen der Kanten folgen {found_mm:.1f}. "
        "U deckt beides.",
        "Messen Sie Papier und Tafel zusammen mit dem Messschieber und berichtigen Sie die Dicke, oder prüfen Sie, ob "
        "die Kanten "
        "die der Schrankflächen sind.",
    ),
}
