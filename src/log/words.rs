//! The words of headings in English, German, French, Spanish and Italian, without accents.
//!
//! Each list is one text of words between blanks.

/// A clock.
pub(super) const CLOCK: &str = "time times zeit temps tiempo hora heure uhrzeit timestamp datetime date datum fecha \
    elapsed laufzeit clock seconds sekunden secondes segundos millis micros zeitstempel \
    horodatage runtime tempo ora messzeit ts t utc zeitpunkt timer";
/// A time that is no clock.
pub(super) const NO_CLOCK: &str = "since between injection dwell response gap mil with until delay fract fraction zone \
    ignition advance lap inj open remaining";
/// Engine speed by itself.
pub(super) const SPEED: &str = "rpm drehzahl motordrehzahl regime revs tach tacho tachometer tachymetre revoluciones \
    giri umdrehungen tours rev drehz nmot";
/// The engine.
pub(super) const ENGINE: &str = "engine motor moteur motore crankshaft kurbelwelle eng vilebrequin";
/// Speed of something.
pub(super) const PACE: &str = "speed vitesse velocidad geschwindigkeit velocita spd";
/// The speed of something else, or not the measured one.
pub(super) const NO_SPEED: &str = "vehicle road wheel fan gps turbo pump target desired setpoint soll limit max min gear \
    ratio accel throttle delta fahrzeug vehicule std error input output idle shift";
/// Below atmosphere.
pub(super) const VACUUM: &str =
    "vac vacuum vakuum unterdruck depression vacio vuoto saugunterdruck vide";
/// Behind the throttle: a pressure there is absolute.
pub(super) const INTAKE: &str = "manifold intake inlet saugrohr saugrohrdruck ansaug ansaugrohr ansaugdruck admission \
    admision colector collecteur tract collettore";
/// Where the sensor sits.
pub(super) const MANIFOLD: &str = "manifold intake inlet saugrohr ansaug ansaugrohr admission admision colector collecteur \
    carb carburettor carburetor vergaser carburateur carburador tract collettore";
/// Absolute pressure.
pub(super) const ABSOLUTE: &str = "map abs absolute absolut absolue absoluta absolutdruck";
/// A pressure.
pub(super) const PRESSURE: &str = "pressure press druck pression presion pressione p saugrohrdruck";
/// The pressure of something else.
pub(super) const NO_MANIFOLD: &str = "oil fuel tyre tire brake coolant temp temperature temperatur ol oel oldruck oeldruck \
    huile aceite olio tank evap evaporative purge rail exhaust egr throttle trim catalyst \
    turbo boost ladedruck flow maf humidity rh dew altitude transmission water std stddev sd \
    target desired compressor kraftstoff kraftstoffdruck reifendruck carburant essence freno \
    combustible reifen abgas bremse frein pneu vapor cylinder zylinder error wastegate soll \
    setpoint delta diff";
/// The flow of air.
pub(super) const FLOW: &str =
    "flow airflow durchfluss luftstrom luftdurchsatz durchsatz debit caudal flusso portata";
/// The flow of something else, or one that is no pressure.
pub(super) const NO_FLOW: &str = "oil fuel coolant water exhaust egr maf blowby crankcase injector return evap purge \
    target error temp temperature temperatur";
/// The barometer.
pub(super) const BAROMETER: &str = "baro barometer barometric barometrisch barometrique barometre barometro barometrica \
    atmospheric atmosphere atmos atm ambient luftdruck umgebungsdruck atmospherique \
    atmosferica atmosferico ambiant umgebung";
/// The crankcase.
pub(super) const CRANKCASE: &str = "crankcase crank kurbelgehause kurbelgehaeuse carter breather dipstick kurbelgehausedruck \
    blowby";
/// The crankshaft.
pub(super) const NO_CRANKCASE: &str = "shaft speed angle position rpm sensor deg";
/// Marks.
pub(super) const MARK: &str = "mark marks marker marke event events ereignis comment comments kommentar bemerkung notiz \
    note notes remarque commentaire evenement marque nota comentario annotation remark remarks repere reperes \
    commentaires evenements marques remarques annotations observation observations evento eventos marca marcas \
    notas comentarios observacion observaciones anmerkung anmerkungen bemerkungen vermerk markierung \
    markierungen marken ereignisse kommentare notizen hinweis anotacion";
/// Side 1.
pub(super) const FIRST: &str = "1 front vorn vorne vorderer avant av left links linker gauche delantero delantera izquierda \
    izquierdo first one anteriore sinistro";
/// Side 2.
pub(super) const SECOND: &str = "2 rear hinten hinterer arriere ar right rechts rechter droite droit trasero trasera derecha \
    derecho second two back posteriore destro";
/// Side 1 as a letter at the end.
pub(super) const FIRST_LETTER: &str = "a l li f lh";
/// Side 2 as a letter at the end.
pub(super) const SECOND_LETTER: &str = "b r re rh ri";
