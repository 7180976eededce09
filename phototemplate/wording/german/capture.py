"""German words of the findings about capture."""

from __future__ import annotations

from phototemplate.wording.words import Words

COPY_AGAIN = "Kopieren Sie die Datei noch einmal von der Kamera."
ORIGINAL = "Nehmen Sie die Originaldatei: als Dokument oder per Kabel geschickt, ohne Beschnitt oder Entzerrung."

WORDS: dict[str, Words] = {
    "photo-unreadable": Words(
        "ein Foto ließ sich nicht öffnen und blieb außer Betracht",
        "Das Bild ist nicht zu lesen ({reason}).",
        "Kopieren Sie das Foto noch einmal von der Kamera, oder machen Sie es neu.",
        several="{n:Foto ist|Fotos sind} nicht zu lesen.",
    ),
    "photo-missing": Words(
        "ein Foto ist nicht da oder nicht zu erreichen",
        "Dieses Foto gibt es nicht, oder es ist nicht zu erreichen ({reason}).",
        "Legen Sie es zurück, oder nehmen Sie es aus dem Auftrag.",
        several="{n:Foto ist|Fotos sind} nicht da oder nicht zu erreichen.",
    ),
    "photo-folder": Words(
        "wo ein Foto sein sollte, ist ein Ordner",
        "Das ist ein Ordner, kein Foto.",
        "Nennen Sie die Fotos darin.",
    ),
    "photo-empty": Words(
        "die Datei eines Fotos ist leer",
        "Die Datei ist leer.",
        COPY_AGAIN,
        several="{n:Datei ist|Dateien sind} leer.",
    ),
    "photo-forbidden": Words(
        "ein Foto darf nicht gelesen werden",
        "Die Datei darf nicht gelesen werden.",
        "Ändern Sie ihre Zugriffsrechte.",
        several="{n:Datei darf|Dateien dürfen} nicht gelesen werden.",
    ),
    "photo-cut-short": Words(
        "die Datei eines Fotos ist unvollständig",
        "Das Bild ist abgeschnitten.",
        COPY_AGAIN,
        several="{n:Bild ist|Bilder sind} abgeschnitten.",
    ),
    "photo-damaged": Words(
        "die Datei eines Fotos ist beschädigt",
        "Das Bild ist beschädigt.",
        COPY_AGAIN,
        several="{n:Bild ist|Bilder sind} beschädigt.",
    ),
    "photo-too-large": Words(
        "ein Foto hat mehr Bildpunkte, als gelesen werden können",
        "Seine {size_megapixels:.0f} sind mehr als die {limit_megapixels:.0f}, die gelesen werden können.",
        "Fotografieren Sie mit geringerer Auflösung.",
        several="{n:Foto hat|Fotos haben} mehr als die {limit_megapixels:.0f}, die gelesen werden können.",
    ),
    "photo-too-small": Words(
        "ein Foto hat zu wenige Bildpunkte",
        "Ein Bild von {wide_px} x {high_px} ist kein Foto; mindestens {least_px} je Seite sind nötig.",
        "Nehmen Sie das Foto, wie die Kamera es gespeichert hat.",
    ),
    "photo-no-memory": Words(
        "ein Foto braucht mehr Speicher, als da ist",
        "Für dieses Bild reicht der Speicher nicht.",
        "Schließen Sie andere Programme.",
        several="Für {n:Bild|Bilder} reicht der Speicher nicht.",
    ),
    "photo-film": Words(
        "unter den Fotos ist ein Film",
        "Das ist ein Film, kein Foto.",
        "Machen Sie ein stehendes Bild.",
        several="{n:Datei ist ein Film, kein Foto|Dateien sind Filme, keine Fotos}.",
    ),
    "photo-raw": Words(
        "Rohdaten der Kamera werden nicht gelesen",
        "Rohdaten der Kamera werden nicht gelesen.",
        "Geben Sie das Foto als JPEG, PNG, TIFF oder HEIC aus, ohne Entzerrung.",
        several="{n:Datei|Dateien} mit Rohdaten der Kamera werden nicht gelesen.",
    ),
    "photo-unknown-kind": Words(
        "eine Datei ist kein lesbares Bild",
        "Das ist kein Bild einer Art, die gelesen werden kann.",
        "Nehmen Sie JPEG, PNG, TIFF oder HEIC.",
        several="{n:Datei ist|Dateien sind} von keiner Art, die gelesen werden kann.",
    ),
    "photo-no-targets": Words(
        "in einem Foto wurde kein Ziel gefunden",
        "In {where} wurde kein gedrucktes Ziel gefunden.",
        "Fotografieren Sie so, dass mehrere Blätter scharf im Bild sind, größer als ein Daumennagel.",
        several="In {n:Foto|Fotos} wurde kein gedrucktes Ziel gefunden.",
    ),
    "photo-few-points": Words(
        "wenige Zielpunkte in einem Foto",
        "In {where} {n_points:Zielpunkt wurde|Zielpunkte wurden} gefunden, das ist wenig.",
        "Treten Sie zurück oder schwenken Sie, bis mehr Blätter im Bild sind.",
        several="In {n:Foto|Fotos} wurden wenige Zielpunkte gefunden (je {n_points}).",
    ),
    "photo-smeared": Words(
        "die Kamera bewegte sich bei einer Aufnahme",
        "Die Kamera bewegte sich bei {where}: verwischt um {blur_px:.1f} (1 Sigma) unter {direction_deg:.0f}. Seine "
        "Ziele zählen "
        "weniger, und Kanten werden in den scharfen Fotos verfolgt, wo die meisten scharf sind.",
        "Halten Sie die Kamera ruhig oder stützen Sie sie, sorgen Sie für Licht, und machen Sie das Foto noch einmal.",
        several="Die Kamera bewegte sich bei {n:Foto|Fotos}. Sie sind um {blur_px:.1f} (1 Sigma) verwischt und zählen weniger.",
    ),
    "photo-out-of-focus": Words(
        "ein Foto ist unscharf",
        "{where} ist unscharf: {blur_px:.1f} (1 Sigma). Seine Ziele zählen weniger, und Kanten werden in den scharfen Fotos "
        "verfolgt, wo die meisten scharf sind.",
        "Tippen Sie zum Scharfstellen auf ein Blatt, putzen Sie die Linse, und machen Sie das Foto noch einmal.",
        several="{n:Foto ist|Fotos sind} unscharf: {blur_px:.1f} (1 Sigma); sie zählen weniger.",
    ),
    "photo-no-exif": Words(
        "ein Foto sagt nichts über seine Kamera",
        "Die Datei sagt nicht, welche Kamera sie machte; das Objektiv folgt allein aus den Zielen.",
        "Nehmen Sie die Originaldatei, wenn es sie gibt: sie trägt die Daten der Kamera.",
        several="{n:Datei sagt|Dateien sagen} nicht, welche Kamera sie machte. Das Objektiv folgt allein aus den Zielen.",
    ),
    "photo-duplicate": Words(
        "zwei Fotos sind (fast) dasselbe Bild",
        "{where} zeigt dasselbe wie {twin} und blieb außer Betracht.",
        "Nichts ist zu tun; ein weiteres Foto hilft nur von anderer Stelle.",
        several="{n:Foto blieb|Fotos blieben} außer Betracht: zu sehen ist dasselbe wie in {twin}.",
    ),
    "photo-duplicate-kept": Words(
        "zwei Fotos sind (fast) dasselbe Bild, und in einem ist eine Kante gezeichnet",
        "{where} zeigt dasselbe wie {twin} und wird dennoch genutzt, weil eine Kante darin gezeichnet ist.",
        "Zeichnen Sie die Kante in {twin}, und lassen Sie {where} weg: es täuscht Sicherheit vor.",
    ),
    "photo-same-name": Words(
        "zwei Fotos unterscheiden sich nur in der Endung ihres Namens",
        "Ein anderes Foto heißt auch {stem}, darum wird {file} mit ganzem Namen genannt.",
        "Sind sie dasselbe Bild, ist nichts zu tun; sonst benennen Sie eines um.",
    ),
    "value-improbable": Words(
        "ein Wert der Auftragsdatei ist möglich, aber unwahrscheinlich",
        "Die Auftragsdatei sagt {key} = {value}; üblich ist {low_value:g} bis {high_value:g}.",
        "Sehen Sie nach, ob das gemeint war, und in welcher Einheit.",
    ),
    "lengths-without-unit": Words(
        "Längen der Auftragsdatei haben keine Einheit",
        "Die Auftragsdatei gibt {n_lengths} Längen ohne Einheit an, etwa {examples}; sie wurden als mm gelesen.",
        "Sehen Sie nach, ob keine davon in Zoll gemeint war; in einer neuen Auftragsdatei wird eine solche Länge abgelehnt.",
    ),
    "photo-resaved": Words(
        "ein Programm hat ein Foto neu gespeichert",
        "Das Bild ist vielleicht nicht, wie die Kamera es aufnahm: {software} hat es gespeichert.",
        ORIGINAL,
        several="{n:Bild ist|Bilder sind} vielleicht nicht, wie die Kamera sie aufnahm: gespeichert von {software}.",
    ),
    "photo-resized": Words(
        "ein Foto hat eine andere Größe, als die Kamera ihm gab",
        "Das Bild ist nicht, wie die Kamera es aufnahm: aufgenommen {taken_wide_px} x {taken_high_px}, die Datei hat {wide_px} "
        "x {high_px}.",
        ORIGINAL,
        several="{n:Bild hat|Bilder haben} nicht die Größe, die die Kamera ihnen gab. Die längere Seite war "
        "{taken_wide_px} und ist "
        "{wide_px}, die kürzere {taken_high_px} und {high_px}.",
    ),
    "photo-screenshot": Words(
        "ein Foto sieht wie ein Bildschirmfoto aus",
        "Das Bild sieht wie ein Bildschirmfoto aus.",
        ORIGINAL,
        several="{n:Bild sieht|Bilder sehen} wie Bildschirmfotos aus.",
    ),
    "photo-from-messenger": Words(
        "ein Foto ging wohl durch einen Nachrichtendienst",
        "Eine lange Seite von {long_px} ohne Kameradaten ist, was Nachrichtendienste daraus machen.",
        ORIGINAL,
        several="{n:Bild hat|Bilder haben} eine lange Seite von {long_px} ohne Kameradaten; das machen "
        "Nachrichtendienste daraus.",
    ),
    "photo-cropped": Words(
        "ein Foto hat Seiten, die kein Sensor hat",
        "Die Seiten des Bildes, {wide_px} x {high_px}, sind nicht die eines Sensors: vielleicht ist es beschnitten.",
        ORIGINAL,
        several="{n:Bild hat|Bilder haben} Seiten, die kein Sensor hat, und sind vielleicht beschnitten. Die längere Seite ist "
        "{wide_px}, die kürzere {high_px}.",
    ),
    "target-id-twice": Words(
        "dieselbe gedruckte Nummer liegt an zwei Stellen eines Fotos",
        "{where} liegt an {n_places:Stelle|Stellen} von {photo}, bei den Bildpunkten <({u_px:.0f}, {v_px:.0f})>; keine davon "
        "wird genutzt.",
        "Drucken Sie jede Nummer einmal: ersetzen Sie alle {where} bis auf eines, und machen Sie die Fotos neu.",
    ),
    "target-elsewhere": Words(
        "ein Ziel liegt in manchen Fotos ganz woanders",
        "{where} liegt in {photos} ganz woanders als in den übrigen Fotos; dort blieb es außer Betracht.",
        "Nutzen Sie jede gedruckte Nummer nur einmal; sehen Sie nach, ob dort eine Nummer falsch gelesen wurde.",
    ),
}
