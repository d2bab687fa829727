"""Words capture headers use, in several languages, folded to plain lower-case letters and digits."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_KEYS = {
    "interval": """
        sampleinterval samplinginterval sampleperiod samplingperiod sampletime samplingtime timestep
        interval increment xincrement xincr deltat dt timeincrement timeinterval hresolution
        horizontalresolution timeresolution timeperpoint timepersample secondspersample
        waveformincrement wfincrement tstep tinterval abtastintervall abtastzeit abtastperiode
        zeitschritt periodeechantillonnage periodedechantillonnage pasdetemps intervalledechantillonnage
        intervalodemuestreo periododemuestreo intervalodeamostragem intervallodicampionamento passo
        odstepprobkowania
    """,
    "rate": """
        samplerate samplingrate samplefrequency samplingfrequency fs sps samplespersecond
        acquisitionrate rate scanrate abtastrate abtastfrequenz frequencedechantillonnage
        frequenceechantillonnage tauxdechantillonnage frecuenciademuestreo tasademuestreo
        taxadeamostragem frequenciadeamostragem frequenzadicampionamento samplehz
        czestotliwoscprobkowania
    """,
    "start": """
        start starttime xstart xzero xorigin hoffset t0 timeoffset timeoffirstpoint timeoffirstsample
        firstsampletime waveformstartoffset wfstartoffset startzeit debut inicio inizio xoffset
    """,
    "time_unit": """
        horizontalunit horizontalunits hunit hunits xunit xunits timeunit timeunits timebaseunit
        zeiteinheit unitex
    """,
    "value_unit": """
        verticalunit verticalunits vunit vunits yunit yunits unit units einheit einheiten unite unites
        unidad unidades unidade unita jednostka valueunit
    """,
    "names": """
        tracename tracenames channel channels channelname channelnames name names source sources signal
        signals label kanal kanale voie voies canal canales
    """,
    "rows": """
        recordlength memorylength numberofsamples nrofsamples samples points numberofpoints nrofpoints
        blocksize size length datapoints numsamples anzahl anzahlwerte nombredepoints numerodemuestras
    """,
    "probe": "probesensitivity clampsensitivity sensitivity clamp clampoutput currentprobe transducer",
    "attenuation": "probeattenuation probeatten attenuation probe proberatio probefactor tastkopf sonde",
    "code_scale": """
        ymult ymultiplier yincrement yincr codescale valuepercount voltspercount ampspercount percount
        unitspercount scalefactor lsb lsbsize verticalresolution voltsperbit ampsperbit
    """,
    "code_offset": "yoff yreference yref codeoffset offsetcounts offsetcodes",
    "code_zero": "yzero yorigin",
    "per_division": "verticalscale voltsperdiv voltsperdivision voltsdiv vdiv vscale",
    "per_division_codes": "countsperdiv countsperdivision codesperdiv codesperdivision lsbperdiv",
    "date": "date datum fecha data exportedon created createdon recordedon acquired acquiredon starteddate",
    "clock": "time clock uhrzeit heure hora zeitpunkt timeofday triggertime acquisitiontime",
    "data_follows": "waveformdata data rawdata daten donnees datos",
}
KEY_OF = {word: key for key, words in _KEYS.items() for word in words.split()}

_TIME = """
        time t times timestamp timestamps timeaxis elapsed elapsedtime reltime relativetime seconds
        second sec xaxis x zeit zeitachse temps tiempo tempo tid tijd czas aika cas ido время 时间 時間
        millis micros uptime
    """
_INDEX = """
        index idx nr no num number sample samples samplenumber sampleno n i seq sequence row rownumber
        point points count counter id item zeile messung indice numero muestra lp
    """
_RECORD = """
        segment segmentnumber segmentno segmentindex record recordnumber recordno frame frameno
        framenumber trigger triggernumber triggerno triggercount sweep sweepnumber acquisition
        acquisitionnumber block blocknumber abschnitt enregistrement registro
    """
_STEP = """
        dt delta deltat deltatime dtime step timestep diff difft period deltaus deltams deltans
    """
_ENVELOPE = """
        peakdetect envelope env peak max min maximum minimum upper lower
    """
_FREQUENCY = """
        frequency freq frequenz frequence frecuencia frequencia frequenza f hz bin
    """
TIME_WORDS = frozenset(_TIME.split())
INDEX_WORDS = frozenset(_INDEX.split())
RECORD_WORDS = frozenset(_RECORD.split())
STEP_WORDS = frozenset(_STEP.split())
ENVELOPE_WORDS = frozenset(_ENVELOPE.split())
FREQUENCY_WORDS = frozenset(_FREQUENCY.split())
CHANNEL = re.compile(
    r"(ch|chan|channel|kanal|canal|voie|trace|input|ai|c|signal|probe|"
    r"current|strom|courant|corriente|corrente|amps?|amperes?|i|volts?|voltage|value|wert|y)\d*"
)


def fold(text: str) -> str:
    """Return `text` without accents, signs and blanks, in lower case: "Sample Interval" is sampleinterval."""
    if text.isascii():
        return re.sub(r"[^a-z0-9]", "", text.lower())
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return re.sub(r"[\W_]", "", plain.lower())


@lru_cache(maxsize=4096)
def key_of(text: str) -> str | None:
    """Return what a header key means ("interval", "rate", …), or None; a unit in brackets is ignored."""
    return KEY_OF.get(fold(re.sub(r"[\(\[].*?[\)\]]", "", text)))
