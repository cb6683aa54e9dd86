"""What a register says of an object: the fields that an import can fill, and the headings registers give them.

The headings are the common words of registers in English, with some German, French, Spanish and Italian ones
(common practice), written as `survey.register.table.plain` leaves them.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["number", "text", "length", "weight", "year", "day"]


@dataclass(frozen=True)
class Field:
    """A field of the register.

    Attributes
    ----------
    name : str
        How columns are mapped to it.
    label : str
        How a person reads it.
    kind : str
        How its text is read: number (an identifier), text, length, weight, year or day.
    value : str
        Name of the value that comes out, with its unit: height gives height_mm.
    longest : int
        Most characters of a text.
    headings : tuple of str
        Plain headings that mean this field.
    """

    name: str
    label: str
    kind: Kind
    value: str
    longest: int
    headings: tuple[str, ...]
    required: bool = False


def _field(name: str, label: str, kind: Kind, headings: str, *, value: str = "", longest: int = 500) -> Field:
    words = tuple(" ".join(heading.split()) for heading in headings.split(","))
    return Field(name, label, kind, value or name, longest, words, required=kind == "number")


FIELDS: tuple[Field, ...] = (
    _field(
        "accession_number", "Accession number", "number", longest=120,
        headings="accession number, accession no, accession num, accession nr, accession, acc no, acc number, acc "
        "num, accno, object number, object no, objectnumber, inventory number, inventory no, inventory nr, "
        "inventory, inv no, inv nr, inv, museum number, museum no, catalogue number, catalog number, "
        "catalogue no, catalog no, cat no, registration number, registration no, reg no, identification "
        "number, number, no, nr, objektnummer, inventarnummer, inventar nr, inventarnr, inv nummer, "
        "zugangsnummer, eingangsnummer, signatur, numero d inventaire, no d inventaire, n d inventaire, "
        "numero inventaire, cote, numero de inventario, no inventario, numero di inventario, numero "
        "inventario, n inventario, nr inventario",
    ),
    _field(
        "simple_name", "Simple name", "text",
        headings="simple name, object name, common name, name, object type, type of object, type, form, "
        "objektbezeichnung, bezeichnung, objektart, sachbegriff, gegenstand, denomination, designation, "
        "appellation, nombre, nombre del objeto, tipo de objeto, denominazione, definizione, oggetto, nome "
        "oggetto, objet",
    ),
    _field(
        "title", "Title", "text", longest=10_000,
        headings="title, object title, titel, werktitel, objekttitel, titre, titulo, titolo",
    ),
    _field(
        "description", "Description", "text", longest=50_000,
        headings="description, brief description, physical description, object description, summary, details, "
        "beschreibung, objektbeschreibung, kurzbeschreibung, descriptif, descripcion, descrizione, notes, "
        "remarks",
    ),
    _field(
        "material", "Material", "text", longest=10_000,
        headings="medium, material, materials, media, material and technique, materials and techniques, material "
        "technique, medium and support, technique, made of, werkstoff, material technik, technik, "
        "materialien, materiau, materiaux, matiere, matieres, matieres et techniques, materiales, materia, "
        "materia y tecnica, materiali, materia e tecnica",
    ),
    _field(
        "classification", "Classification", "text",
        headings="classification, object class, class, category, object category, collection category, genre, "
        "klassifikation, sachgruppe, objektgruppe, gattung, kategorie, categorie, domaine, clasificacion, "
        "categoria, classificazione, classe",
    ),
    _field(
        "department", "Department", "text",
        headings="department, dept, curatorial department, collection, collection name, division, section, "
        "abteilung, sammlung, sammlungsbereich, departement, departamento, coleccion, dipartimento, "
        "collezione, reparto",
    ),
    _field(
        "date_text", "Date, as written", "text",
        headings="creation date, date created, date made, date of creation, date, dated, object date, date text, "
        "date display, display date, production date, date of production, date of manufacture, period, "
        "datierung, entstehungszeit, entstehungsdatum, herstellungsdatum, zeit, datation, date de creation, "
        "periode, epoque, fecha, datacion, cronologia, data, datazione, epoca",
    ),
    _field(
        "date_earliest", "Earliest year", "year",
        headings="creation date earliest, date earliest, earliest date, earliest year, year earliest, date from, "
        "from, from date, year from, date start, start date, start year, date begin, begin date, begin "
        "year, object begin date, not before, date early, datierung von, datierung beginn, von, jahr von, "
        "date debut, annee debut, fecha inicial, desde, data iniziale, dal, da",
    ),
    _field(
        "date_latest", "Latest year", "year",
        headings="creation date latest, date latest, latest date, latest year, year latest, date to, to, to date, "
        "year to, date end, end date, end year, object end date, not after, date late, datierung bis, "
        "datierung ende, bis, jahr bis, date fin, annee fin, fecha final, hasta, data finale, al, a",
    ),
    _field(
        "place", "Place", "text", value="place_text",
        headings="physical location, location, current location, place, storage location, store location, storage, "
        "store, home location, shelf, room, gallery, position, whereabouts, standort, lagerort, "
        "aufbewahrungsort, depot, regal, raum, localisation, emplacement, lieu de conservation, ubicacion, "
        "localizacion, collocazione, ubicazione, deposito",
    ),
    _field(
        "height", "Height", "length", value="height_mm",
        headings="height, h, ht, object height, dimension height, hohe, hoehe, hauteur, haut, alto, altura, altezza",
    ),
    _field(
        "width", "Width", "length", value="width_mm",
        headings="width, w, breadth, object width, dimension width, breite, largeur, ancho, anchura, larghezza",
    ),
    _field(
        "depth", "Depth", "length", value="depth_mm",
        headings="depth, d, length, l, object depth, dimension depth, tiefe, lange, laenge, profondeur, longueur, "
        "profundidad, largo, longitud, profondita, lunghezza",
    ),
    _field(
        "diameter", "Diameter", "length", value="diameter_mm",
        headings="diameter, diam, dia, dm, max diameter, maximum diameter, object diameter, dimension diameter, "
        "durchmesser, diametre, diametro",
    ),
    _field(
        "weight", "Weight", "weight", value="mass_kg",
        headings="weight, wt, mass, object weight, gewicht, masse, poids, peso",
    ),
    _field(
        "credit_line", "Credit line", "text", longest=10_000,
        headings="credit line, creditline, credit, acquisition credit, donor credit, credit text, erwerbungshinweis, "
        "erwerbungsart, mention obligatoire, mode d acquisition, linea de credito, forma de ingreso, linea "
        "di credito, acquisition method",
    ),
    _field(
        "acquired_on", "Acquired on", "day",
        headings="date acquired, acquired on, acquired, acquisition date, date of acquisition, accession date, date "
        "accessioned, accession year, acquisition year, year acquired, erwerbungsdatum, zugangsdatum, "
        "eingangsdatum, date d acquisition, date acquisition, fecha de adquisicion, fecha de ingreso, data "
        "di acquisizione, data acquisizione",
    ),
    _field(
        "source_id", "Identifier in the source", "text",
        headings="id, object id, objectid, record id, source id, system id, database id, uuid, guid, identifier, "
        "unique id, uid, uri, key, record number, record no, datensatz id, objekt id, identifiant, "
        "identificador, identificativo",
    ),
)  # fmt: skip

BY_NAME: dict[str, Field] = {field.name: field for field in FIELDS}
VALUES: tuple[str, ...] = tuple(field.value for field in FIELDS)
"""Names of the values that a decided row carries."""
