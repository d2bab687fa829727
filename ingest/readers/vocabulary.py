"""Words capture headers use, in several languages, folded to plain lower-case letters and digits.

Words about an axis are known by what they say, not one by one.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Any

_KEYS = {
    "interval": """
        sampleinterval samplinginterval sampleperiod samplingperiod sampletime samplingtime
        interval increment dt dx timeperpoint timepersample secondspersample
        abtastintervall abtastzeit abtastperiode
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
        start starttime startoffset t0 x0 timeoffirstpoint timeoffirstsample firstsample firstsampletime
        startzeit debut inicio inizio
    """,
    "time_unit": "timebaseunit zeiteinheit unitex",
    "value_unit": """
        unit units einheit einheiten unite unites unidad unidades unidade unita jednostka
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
        codescale valuepercount voltspercount ampspercount percount
        unitspercount scalefactor lsb lsbsize verticalresolution voltsperbit ampsperbit
    """,
    "code_offset": "codeoffset offsetcounts offsetcodes",
    "per_division": "verticalscale voltsperdiv voltsperdivision voltsdiv vdiv vscale",
    "per_division_codes": "countsperdiv countsperdivision codesperdiv codesperdivision lsbperdiv",
    "date": "date datum fecha data exportedon created createdon recordedon acquired acquiredon starteddate",
    "clock": "time clock uhrzeit heure hora zeitpunkt timeofday triggertime acquisitiontime",
    "data_follows": "waveformdata data rawdata daten donnees datos",
}
KEY_OF = {word: key for key, words in _KEYS.items() for word in words.split()}

# A key that names an axis and what is told of it, in either order, whoever wrote it: "X increment", "vertical
# zero", "delta t", "offset of y". For each word: what it is of the time axis, and of the value axis.
_AXIS_WORDS = {
    "horizontal": "x h t time horizontal horiz sample",
    "vertical": "y v value vertical vert amplitude code",
}
_TOLD_OF_AXIS: dict[str, tuple[str | None, str | None]] = {
    "increment incr inc step stepsize": ("interval", "code_scale"),
    "interval delta spacing period resolution": ("interval", None),
    "multiplier mult factor": (None, "code_scale"),
    "start first begin startoffset": ("start", None),
    "zero origin orig": ("start", "code_zero"),
    "offset off": ("start", "code_offset"),
    "reference ref": (None, "code_offset"),
    "unit units": ("time_unit", "value_unit"),
}
_AXIS_OF = {word: axis for axis, words in _AXIS_WORDS.items() for word in words.split()}
_TOLD = {word: keys for words, keys in _TOLD_OF_AXIS.items() for word in words.split()}


def _either(words: dict[str, Any]) -> str:
    return "|".join(sorted(words, key=len, reverse=True))


_OF_AXIS = re.compile(
    rf"(?P<axis>{_either(_AXIS_OF)})(?P<told>{_either(_TOLD)})"
    rf"|(?P<told2>{_either(_TOLD)})(?:of|in)?(?P<axis2>{_either(_AXIS_OF)})"
)
_NO_MATTER = re.compile(r"waveform|wfm?|axis")  # words that say nothing of their own

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
    folded = fold(re.sub(r"[\(\[].*?[\)\]]", "", text))
    return KEY_OF.get(folded) or _of_axis(folded)


def _of_axis(folded: str) -> str | None:
    plain = _NO_MATTER.sub("", folded)
    if match := _OF_AXIS.fullmatch(plain):
        axis = _AXIS_OF[match["axis"] or match["axis2"]]
        return _TOLD[match["told"] or match["told2"]][axis == "vertical"]
    if plain != folded:  # "waveform increment": the axis that has an increment unless told otherwise
        return KEY_OF.get(plain) or _TOLD.get(plain, (None, None))[0]
    return None
