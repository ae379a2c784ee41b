"""Every source is entered here once and cited by its key in square brackets, as in [weinreich1977].

``practice`` marks common practice without a source one can cite; ``memory`` in a text marks a figure
from general knowledge that nobody has looked up. A test fails on a citation that isn't here.
"""

from __future__ import annotations

from pianolab.errors import BadInput

SOURCES: dict[str, str] = {
    "iso16": "ISO 16:1975, Acoustics: standard tuning frequency (A4 = 440 Hz); value from memory",
    "iec61672": "IEC 61672-1, Sound level meters: corner frequencies of the A-weighting; values from memory",
    "fletcher1964": "H. Fletcher, Normal vibration frequencies of a stiff piano string, JASA 36(1), 203-209 (1964)",
    "young1952": "R. W. Young, Inharmonicity of plain wire piano strings, JASA 24(3), 267-273 (1952)",
    "rigaud2013": "F. Rigaud, B. David, L. Daudet, A parametric model and estimation techniques for the "
    "inharmonicity and tuning of the piano, JASA 133(5), 3107-3118 (2013)",
    "weinreich1977": "G. Weinreich, Coupled piano strings, JASA 62(6), 1474-1484 (1977)",
    "roykailath1989": "R. Roy, T. Kailath, ESPRIT: estimation of signal parameters via rotational invariance "
    "techniques, IEEE Trans. ASSP 37(7), 984-995 (1989)",
    "kirk1959": "R. E. Kirk, Tuning preferences for piano unison groups, JASA 31, 1644-1648 (1959)",
    "capleton2004": "B. Capleton, False beats in coupled piano string unisons, JASA 115, 885-892 (2004)",
    "wogram1990": "K. Wogram, The strings and the soundboard, in: Five lectures on the acoustics of the piano, "
    "Royal Swedish Academy of Music (1990)",
    "karjalainen2002": "M. Karjalainen, P. Antsalo, A. Makivirta, T. Peltonen, V. Valimaki, Estimation of modal "
    "decay parameters from noisy response measurements, JAES 50(11), 867-878 (2002)",
    "lehtonen2009": "H.-M. Lehtonen, A. Askenfelt, V. Valimaki, Analysis of the part-pedaling effect in the "
    "piano, JASA-EL 126, EL49-EL54 (2009)",
    "kendrick2007": "P. Kendrick, T. J. Cox, Y. Zhang, J. A. Chambers, F. F. Li, Reverberation time estimation from "
    "speech and music, Acta Acustica united with Acustica 93 (2007); abstract read",
    "goncalves2014": "Goncalves, dissertation, Louisiana State University (2014): loudness and brightness of piano "
    "tones are tied; abstract read",
    "practice": "common practice, no source one can cite",
}


def cite(key: str) -> str:
    """The source behind a key.

    Examples
    --------
    >>> cite("weinreich1977")
    'G. Weinreich, Coupled piano strings, JASA 62(6), 1474-1484 (1977)'
    """
    if key not in SOURCES:
        raise BadInput(
            "source", repr(key), "a key of pianolab.sources.SOURCES", "Misspelt, or not entered yet?"
        )
    return SOURCES[key]
