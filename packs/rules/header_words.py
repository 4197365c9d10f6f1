"""Plain words that head the columns of a file of readings, in several languages."""

import re
from collections.abc import Mapping

LONGEST = 200  # characters of a header that are looked at; no plain words are longer
_UNIT = re.compile(r"[(\[].*?[)\]]|\s(?:in|/)\s*(?:m?v|a|°?[cf]|km|mi|s|%)\Z")
_MARKS = re.compile(r"[\s_.:#/\-]+")

_WORDS = {
    "pack": "pack,pack serial,pack id,pack no,pack number,serial,serial no,serial number,sn,s n,"
    "battery,battery id,battery serial,battery no,packserial,packid,batterie,akku,seriennummer,"
    "serien nr,seriennr,batterienummer,packnummer,numéro de série,no de série,batería,bateria,"
    "número de serie,n serie,numero di serie,matricola,batteria,serienummer,accu,batterij,"
    "número de série,numer seryjny",
    "taken_at": "timestamp,time stamp,datetime,date time,date and time,taken at,measured at,"
    "recorded at,when,zeitstempel,zeitpunkt,datum zeit,datum uhrzeit,messzeit,horodatage,"
    "date heure,fecha hora,fecha y hora,data ora,data e ora,tijdstip,datum tijd,data hora,unix,"
    "epoch,unix time,utc,time utc",
    "date": "date,day,test date,datum,tag,jour,fecha,data,dag,giorno",
    "time": "time,clock,time of day,zeit,uhrzeit,heure,hora,ora,tijd,tid,godzina",
    "condition": "condition,state,mode,zustand,betriebsart,état,etat,estado,modo,stato,modalità,"
    "toestand,status",
    "level": "level,ebene,niveau,nivel,livello",
    "current_a": "current,amps,amp,ampere,amperes,i,load current,pack current,test current,"
    "current a,strom,laststrom,courant,intensité,corriente,corrente,intensidad,stroom,prąd,ström",
    "temperature_c": "temperature,temp,t,pack temperature,pack temp,temperature c,temp c,"
    "temperatur,température,temperatura,temperatuur,packtemperatur",
    "odometer_km": "odometer,odo,mileage,km,odometer km,kilometerstand,km stand,kilométrage,"
    "kilometraje,chilometraggio,kilometrage,quilometragem",
    "soc_pct": "soc,state of charge,soc pct,soc %,charge %,ladezustand,ladestand,état de charge,"
    "estado de carga,stato di carica,laadtoestand",
    "position": "position,pos,block,block no,block number,module,module no,module number,cell,"
    "cell no,channel,ch,no,nr,number,index,blocknr,modulnr,modul,zelle,kanal,platz,bloc,cellule,"
    "rang,posición,posicion,módulo,modulo,celda,canal,posizione,cella,blok,positie,cel",
    "voltage": "voltage,volt,volts,u,v,spannung,tension,tensión,voltaje,tensione,spanning,tensão,"
    "napięcie,spänning,voltage v,measured voltage,block voltage,module voltage,cell voltage,"
    "blockspannung,modulspannung,zellspannung",
    "voltages_v": "voltages,readings,block voltages,module voltages,cell voltages,spannungen,"
    "messwerte,blockspannungen,modulspannungen,zellspannungen,tensions,tensiones,tensioni,"
    "spanningen,tensões",
    "instrument": "instrument,tester,meter,messgerät,prüfgerät,appareil",
    "set": "set,session,run,test,test no,messung,prüfung,essai,ensayo,prova",
}
_SAYINGS = {
    "condition": {
        "rest": "rest,resting,idle,open,open circuit,ocv,no load,off,ruhe,leerlauf,repos,à vide,"
        "a vide,reposo,en vacío,riposo,a vuoto,rust,onbelast",
        "load": "load,loaded,under load,on load,discharge,discharging,last,belastet,entladen,"
        "entladung,décharge,carga de prueba,descarga,scarica,belast,ontladen",
        "charge": "charge,charging,on charge,laden,ladung,recharge,cargando,ricarica,opladen",
    },
    "level": {
        "block": "block,blocks,blöcke,bloc,blocs,bloque,blocco,blok",
        "module": "module,modules,modul,módulo,modulo",
        "cell": "cell,cells,zelle,zellen,cellule,celda,cella,cel",
    },
}

WORDS: Mapping[str, frozenset[str]] = {
    field: frozenset(words.split(",")) for field, words in _WORDS.items()
}
SAYINGS: Mapping[str, Mapping[str, str]] = {
    field: {word: ours for ours, words in choices.items() for word in words.split(",")}
    for field, choices in _SAYINGS.items()
}
"""What files say for our words; whatever else they say is told as it stands."""

NO_VOLTAGE = re.compile(
    r"temp|^t$|°|^r$|^ir$|resist|widerst|résist|ohm|ω|curr|amp|strom|^i$|capac|kapaz|^ah$|soc|wh$"
)
"""A run of numbered columns whose stem holds one of these is of something else."""

STEM_LEVELS = (
    (re.compile(r"cell|zell|celd|^cel$|^c$|cella"), "cell"),
    (re.compile(r"modul|módul|^mod$|^m$"), "module"),
    (re.compile(r"blo[ck]|^blk$|^b$"), "block"),
)


def plain(header: str) -> str:
    """A header without its unit, in small letters, marks as single spaces."""
    bare = _UNIT.sub(" ", header[:LONGEST].casefold())
    return _MARKS.sub(" ", bare).strip()


def field_of(header: str) -> str | None:
    """The field that a header names in plain words, if it does."""
    bare = plain(header)
    return next((field for field, words in WORDS.items() if bare in words), None)


def level_of(stem: str) -> str | None:
    """The level that the stem of numbered columns, or a header of positions, names."""
    bare = plain(stem)
    return next((level for form, level in STEM_LEVELS if form.search(bare)), None)


def meant(field: str, said: str) -> str:
    """Our word for what a file says in a field of choices; what is not known stays as it is."""
    bare = plain(said)
    return SAYINGS.get(field, {}).get(bare, bare.replace(" ", "_"))
