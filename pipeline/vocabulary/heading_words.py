"""Headings and labels as shops write them, in English, German and Spanish, and what they mean.

All of it is common practice, no source. Words are as `words.plain_word` returns them; a meaning
may name the unit where the heading is one.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_MEANINGS = {
    "sheet_id": (
        "id sheet sheetno sheetnumber testno testnumber testid blatt blattnr prufnummer "
        "prufnr versuch versuchsnr hoja ensayo ensayono numerodeensayo"
    ),
    "shop": "shopname workshop werkstatt betrieb firma taller",
    "family": "enginefamily motorfamilie motorenfamilie baureihe familia familiademotor",
    "engine": (
        "engineno enginenumber engineid serial serialno serialnumber motornr motornummer "
        "numerodemotor"
    ),
    "cylinders": (
        "cyl cyls #cyl #cylinders numbercylinders numberofcylinders noofcylinders "
        "cylindercount zylinder zylinderzahl anzahlzylinder cilindros numerodecilindros"
    ),
    "arrangement": "cylinderarrangement zylinderanordnung anordnung disposicion",
    "bore": (
        "cylinderbore borediameter bohrung zylinderbohrung diametro diametrodecilindro calibre"
    ),
    "stroke": "crankstroke hub kolbenhub carrera",
    "displacement (in3)": "cid ci cubicinches cubicinch",
    "displacement (cc)": "ccm cm3",
    "displacement": "displ disp sweptvolume hubraum cilindrada enginesize size",
    "rod_length": (
        "rod rods conrod rodlen connectingrod connectingrodlength pleuellange pleuel "
        "longituddebiela biela"
    ),
    "compression_ratio": (
        "cr compression comp compratio staticcompression staticcompressionratio verdichtung "
        "verdichtungsverhaltnis compresion relaciondecompresion"
    ),
    "valves_per_cylinder": "valvespercyl valves/cyl ventileprozylinder valvulasporcilindro",
    "lifter": (
        "lifters liftertype camtype valvetrain tappet tappets tappettype stossel ventiltrieb "
        "taques taque"
    ),
    "intake_duration": (
        "intakeduration050 intakeduration@050 intduration intdur intdur050 induration indur "
        "indur050 intakedur intakedur050 intduration050 intduration@050 steuerzeiteinlass "
        "einlasssteuerzeit offnungsdauereinlass duraciondeadmision duracionadmision"
    ),
    "exhaust_duration": (
        "exhaustduration050 exhaustduration@050 exhduration exhdur exhdur050 exduration exdur "
        "exdur050 exhaustdur exhaustdur050 steuerzeitauslass auslasssteuerzeit "
        "offnungsdauerauslass duraciondeescape duracionescape"
    ),
    "intake_duration_seat": (
        "advertisedintakeduration advdurationintake advintduration intakedurationadv "
        "intakedurationadvertised intdurationadv advintakeduration"
    ),
    "exhaust_duration_seat": (
        "advertisedexhaustduration advdurationexhaust advexhduration exhaustdurationadv "
        "exhaustdurationadvertised exhdurationadv advexhaustduration"
    ),
    "lobe_separation": (
        "lsa lobecenter lobecenterangle lobecentre lobecentreangle lobecenters lca lobesep "
        "lobeseparationangle lobesepangle spreizung nockenspreizung separaciondelobulos "
        "anguloentrelobulos"
    ),
    "intake_centerline": "icl intakecl intakecentreline intcenterline centerline intakecenter",
    "intake_lift": (
        "intlift inlift intakevalvelift grossintakelift ventilhubeinlass einlassventilhub "
        "alzadadeadmision alzadaadmision"
    ),
    "exhaust_lift": (
        "exhlift exlift exhaustvalvelift ventilhubauslass auslassventilhub alzadadeescape "
        "alzadaescape"
    ),
    "intake_valve": (
        "intvalve invalve intakevalvesize intakevalvediameter intakevalvedia einlassventil "
        "valvuladeadmision"
    ),
    "exhaust_valve": (
        "exhvalve exvalve exhaustvalvesize exhaustvalvediameter exhaustvalvedia auslassventil "
        "valvuladeescape"
    ),
    "port_csa": (
        "csa intakeportcsa portcrosssection crosssection minimumcsa mincsa portarea "
        "kanalquerschnitt"
    ),
    "port_volume": "intakeportvolume runnervolume intakerunnervolume kanalvolumen",
    "intake_flow": "intflow inflow intakeportflow",
    "exhaust_flow": "exhflow exflow exhaustportflow",
    "intake_type": (
        "intake intakemanifold manifold manifoldtype intakemanifoldtype saugrohr "
        "ansaugkrummer ansaugbrucke admision colectordeadmision multipledeadmision"
    ),
    "runner_length": "intakerunnerlength saugrohrlange longituddeadmision",
    "fuel_metering": (
        "carburetion carburation fuelsystem injection gemischbildung alimentacion carb "
        "carburetor carburettor vergaser carburador"
    ),
    "airflow": "carbcfm carbsize carburetorsize carburetorcfm carbflow airflowcfm",
    "aspiration": "aspirationtype aufladung aspiracion sobrealimentacion",
    "boost": "boostpressure peakboost ladedruck presiondesoplado",
    "exhaust_type": "exhaustmanifold headertype headers/manifold abgaskrummer tipodeescape",
    "primary_diameter": (
        "primarydia headerprimary headerprimaries primarytubediameter headerdiameter "
        "headerdia primarod primarrohrdurchmesser diametroprimario"
    ),
    "primary_length": "primarytubelength headerlength primarrohrlange longitudprimaria",
    "muffled": "muffler mufflers silenced silencer schalldampfer silenciador",
    "fuel": "fueltype kraftstoff sprit combustible",
    "octane": "aki octanenumber octanerating oktan oktanzahl octanaje",
    "timing": (
        "ignitiontiming totaltiming ignition totaladvance timingtotal sparkadvance "
        "zundzeitpunkt zundung zundwinkel fruhzundung encendido avance avancetotal"
    ),
    "water_pump": "waterpumpdrive wasserpumpe bombadeagua",
    "accessories": "frontaccessories accessorydrive nebenaggregate accesorios",
    "dyno": "dynotype dynamometer prufstand banco bancodepruebas",
    "correction": (
        "corr correctionstandard corrstd corrstandard correctedto corrected standard "
        "korrektur korrekturnach leistungkorrigiertnach korrekturnorm norm correccion "
        "normadecorreccion norma"
    ),
    "air_temperature": (
        "airtemp iat inlettemp intakeairtemperature intakeairtemp intaketemp drybulb "
        "drybulbtemp roomtemp roomtemperature inletair inletairtemp inletairtemperature "
        "carbairtemp ambienttemp ambienttemperature ambient celltemp lufttemperatur lufttemp "
        "ansauglufttemperatur ansaugtemperatur temperaturadelaire temperaturadeaire "
        "temperaturaaire tempaire tempdelaire raumtemperatur zuluft"
    ),
    "barometer": (
        "baro baropress barpress atmpressure atmpress atmosphericpress barometric "
        "barometricpressure baropressure stationpressure airpressure atmosphericpressure "
        "luftdruck barometerstand presionatmosferica presionbarometrica barometro"
    ),
    "elevation": "altitude alt hohe hohenlage altitud elevacion",
    "relative_humidity": (
        "humidity rh relhumidity luftfeuchte luftfeuchtigkeit relativeluftfeuchtigkeit "
        "relativeluftfeuchte relfeuchte relluftfeuchte relluftfeuchtigkeit humedad "
        "humedadrelativa"
    ),
    "coolant_temperature": (
        "coolanttemp watertemp watertemperature coolant kuhlmitteltemperatur wassertemperatur "
        "kuhlwasser temperaturadelagua temperaturadelrefrigerante"
    ),
    "oil_temperature": "oiltemp oltemperatur oltemp temperaturadelaceite temperaturadeaceite",
    "sweep_rate": "acceleration accelrate sweep rampe ramprate",
    "tested_on": "date testdate datetested tested datum prufdatum fecha fechadeensayo",
    "notes": (
        "note remarks remark comments comment bemerkung bemerkungen anmerkung notas nota "
        "observaciones"
    ),
}
#: The field, with its unit if the heading is one, that each word means.
OF_SHEET: Mapping[str, str] = MappingProxyType(
    {word: meaning for meaning, own in _MEANINGS.items() for word in own.split()}
)
