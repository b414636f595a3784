//! Cautions in German. Not yet looked at by a licensed person who speaks it: pages show the English line
//! under each, and say that it is the one that counts.
//! Never in here: a caution that the analysis does not have.

/// The German for what the analysis says.
pub fn caution(english: &str) -> Option<&'static str> {
    let known = CAUTIONS.iter().find(|(of, _)| *of == english);
    known.map(|(_, german)| *german)
}

/// What the analysis says, and the same in German.
const CAUTIONS: [(&str, &str); 14] = [
    (
        "PV strings are live whenever there is light, also with the inverter off.",
        "PV-Strings stehen unter Spannung, sobald Licht da ist, auch bei ausgeschaltetem Wechselrichter.",
    ),
    (
        "Never open a DC connector or a string fuse under load: shut the inverter down, open the AC and the DC isolator, prove zero current with a clamp meter first.",
        "Niemals einen DC-Steckverbinder oder eine Stringsicherung unter Last trennen: zuerst den Wechselrichter abschalten, den AC- und den DC-Trenner öffnen und mit einer Stromzange nachweisen, dass kein Strom fließt.",
    ),
    (
        "Treat the array frame and the cables as live while an isolation fault stands; keep people away from them.",
        "Modulgestell und Kabel als unter Spannung stehend behandeln, solange ein Isolationsfehler besteht; Personen fernhalten.",
    ),
    (
        "Do not reset the inverter again and again: each start feeds the fault.",
        "Den Wechselrichter nicht immer wieder zurücksetzen: jeder Start speist den Fehler.",
    ),
    (
        "Work on DC or supply wiring is for licensed people under local codes. Noonmark advises and never replaces the inverter's own protection.",
        "Arbeiten an der DC- oder Netzverkabelung sind Sache zugelassener Fachkräfte nach den örtlichen Vorschriften. Noonmark gibt Rat und ersetzt nie die eigenen Schutzeinrichtungen des Wechselrichters.",
    ),
    (
        "A bad joint of the supply is hot while the sun shines and may arc. Smoke, fire or a smell of burning: keep away and call the fire service. Where it hums, is warm or discoloured: shut the inverter down, keep away and call the installer or the network operator.",
        "Eine schlechte Verbindung im Netzanschluss ist heiß, solange die Sonne scheint, und kann einen Lichtbogen ziehen. Rauch, Feuer oder Brandgeruch: Abstand halten und die Feuerwehr rufen. Wo es brummt, warm oder verfärbt ist: Wechselrichter abschalten, Abstand halten und den Installateur oder den Netzbetreiber rufen.",
    ),
    (
        "Meter, main switch and service cable stay live with every switch of the house open: only the network operator can isolate them.",
        "Zähler, Hauptschalter und Anschlusskabel bleiben unter Spannung, auch wenn jeder Schalter des Hauses offen ist: nur der Netzbetreiber kann sie freischalten.",
    ),
    (
        "A DC joint with resistance is hot while the sun shines and may arc. Smoke, fire or a smell of burning: keep away and call the fire service. Do not touch or pull a connector that is discoloured or melted: keep away and call the installer.",
        "Eine DC-Verbindung mit Übergangswiderstand ist heiß, solange die Sonne scheint, und kann einen Lichtbogen ziehen. Rauch, Feuer oder Brandgeruch: Abstand halten und die Feuerwehr rufen. Einen verfärbten oder geschmolzenen Steckverbinder nicht berühren und nicht ziehen: Abstand halten und den Installateur rufen.",
    ),
    (
        "Work on a roof needs protection against falls. Never put cold water on hot modules, and no water on damaged ones.",
        "Arbeiten auf dem Dach brauchen Schutz gegen Absturz. Nie kaltes Wasser auf heiße Module geben, und kein Wasser auf beschädigte.",
    ),
    (
        "Leave the covers of the inverter to licensed people: its capacitors stay charged long after it is off.",
        "Die Abdeckungen des Wechselrichters nur von zugelassenen Fachkräften öffnen lassen: seine Kondensatoren bleiben nach dem Abschalten lange geladen.",
    ),
    (
        "Do not climb a wet, icy or snow-covered roof; covered modules need no help to clear.",
        "Kein nasses, vereistes oder verschneites Dach betreten; bedeckte Module brauchen keine Hilfe, um frei zu werden.",
    ),
    (
        "An arc can burn on with the inverter off, as long as there is light. Where it smells burnt, smokes or crackles: keep away, keep people away and call the fire service; tell them that it is a PV array.",
        "Ein Lichtbogen kann bei ausgeschaltetem Wechselrichter weiterbrennen, solange es hell ist. Wo es verbrannt riecht, raucht oder knistert: Abstand halten, Personen fernhalten und die Feuerwehr rufen; ihr sagen, dass es eine PV-Anlage ist.",
    ),
    (
        "Do not reset an arc alarm to see whether it comes back.",
        "Einen Lichtbogenalarm nicht zurücksetzen, um zu sehen, ob er wiederkommt.",
    ),
    (
        "The strings may carry more than their parts are made for: keep away from cables and connectors.",
        "Die Strings können mehr Spannung führen, als ihre Teile vertragen: Abstand von Kabeln und Steckverbindern halten.",
    ),
];
