"""Every source is entered here once and cited by its key in square brackets, as in [weinreich1977].

``practice`` marks common practice without a source one can cite; ``memory`` in a text marks a figure
from general knowledge that nobody has looked up. A test fails on a citation that isn't here.
"""

from __future__ import annotations

from pianolab.errors import BadInput

SOURCES: dict[str, str] = {
    "iso16": "ISO 16:1975, Acoustics: standard tuning frequency (A4 = 440 Hz); value from memory",
    "iec61672": "IEC 61672-1, Sound level meters: corner frequencies of the A-weighting; values from memory",
    "bs1770": "Recommendation ITU-R BS.1770-4, Algorithms to measure audio programme loudness and true-peak audio "
    "level (2015): coefficients as open implementations quote them",
    "ebu3341": "EBU Tech 3341, Loudness metering: momentary loudness over 400 ms; from memory",
    "fletcher1964": "H. Fletcher, Normal vibration frequencies of a stiff piano string, JASA 36(1), 203-209 (1964)",
    "young1952": "R. W. Young, Inharmonicity of plain wire piano strings, JASA 24(3), 267-273 (1952)",
    "rigaud2013": "F. Rigaud, B. David, L. Daudet, A parametric model and estimation techniques for the "
    "inharmonicity and tuning of the piano, JASA 133(5), 3107-3118 (2013)",
    "weinreich1977": "G. Weinreich, Coupled piano strings, JASA 62(6), 1474-1484 (1977)",
    "conklin1999": "H. A. Conklin, Generation of partials due to nonlinear mixing in a stringed instrument, JASA 105, "
    "536-545 (1999); from memory",
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
    "iso3382": "ISO 3382-1: single figures of a room are means of the octaves about 500 and 1000 Hz; from memory",
    "goncalves2014": "Goncalves, dissertation, Louisiana State University (2014): loudness and brightness of piano "
    "tones are tied; abstract read",
    "vorlander2008": "M. Vorlander, Auralization, Springer (2008), annex: absorption coefficients, as listed in the "
    "data of an open room acoustics package",
    "absorptionlists": "absorption coefficients of building materials as several public lists print them alike; two "
    "of them read, their origin not",
    "churches": "Acoustic absorption coefficient of the human body in octave bands (eight churches, empty and full); "
    "abstract read",
    "iso9613": "ISO 9613-1:1993, Attenuation of sound during propagation outdoors, part 1: absorption by the "
    "atmosphere; equations from memory, checked against table values",
    "iso16283": "ISO 16283-1, Field measurement of sound insulation: reference reverberation time of dwellings, 0.5 s; "
    "from memory",
    "sabine1922": "W. C. Sabine, Collected papers on acoustics, Harvard University Press (1922); formula from memory",
    "eyring1930": 'C. F. Eyring, Reverberation time in "dead" rooms, JASA 1, 217-241 (1930); formula from memory',
    "barron1988": "M. Barron, L.-J. Lee, Energy relations in concert auditoriums, JASA 84, 618-628 (1988); from memory, "
    "held against image sources",
    "waterhouse1955": "R. V. Waterhouse, Interference patterns in reverberant sound fields, JASA 27, 247-258 (1955); "
    "formula from memory",
    "watsonpelli1983": "A. B. Watson, D. G. Pelli, QUEST: a Bayesian adaptive psychometric method, Perception and "
    "Psychophysics 33(2), 113-120 (1983); method from memory",
    "kingsmith1994": "P. E. King-Smith, S. S. Grigsby, A. J. Vingrys, S. C. Benes, A. Supowit, Efficient and unbiased "
    "modifications of the QUEST threshold method, Vision Research 34(7), 885-912 (1994); method from memory",
    "kontsevich1999": "L. L. Kontsevich, C. W. Tyler, Bayesian adaptive estimation of psychometric slope and threshold, "
    "Vision Research 39(16), 2729-2737 (1999); from memory",
    "prins2013": "N. Prins, The psi-marginal adaptive method: how to give nuisance parameters the attention they deserve "
    "(no more, no less), Journal of Vision 13(7):3 (2013); from memory",
    "levitt1971": "H. Levitt, Transformed up-down methods in psychoacoustics, JASA 49(2), 467-477 (1971); from memory",
    "macmillan2005": "N. A. Macmillan, C. D. Creelman, Detection Theory: A User's Guide, 2nd ed. (2005), chapter on "
    "same-different tasks; from memory",
    "stanislaw1999": "H. Stanislaw, N. Todorov, Calculation of signal detection theory measures, Behavior Research "
    "Methods, Instruments and Computers 31(1), 137-149 (1999)",
    "gourevitch1967": "V. Gourevitch, E. Galanter, A significance test for one parameter isosensitivity functions, "
    "Psychometrika 32, 25-33 (1967); formula from memory",
    "wilson1927": "E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of the "
    "American Statistical Association 22, 209-212 (1927); through scipy",
    "newcombe1998": "R. G. Newcombe, Interval estimation for the difference between independent proportions: comparison of "
    "eleven methods, Statistics in Medicine 17, 873-890 (1998), method 10; formula from memory",
    "henderson1975": "C. R. Henderson, Best linear unbiased estimation and prediction under a selection model, "
    "Biometrics 31(2), 423-447 (1975); equations from memory",
    "krippendorff2011": "K. Krippendorff, Computing Krippendorff's alpha-reliability, University of Pennsylvania (2011); "
    "from memory, and a kept implementation",
    "bradley1952": "R. A. Bradley, M. E. Terry, Rank analysis of incomplete block designs: the method of paired "
    "comparisons, Biometrika 39, 324-345 (1952); from memory, and a kept implementation",
    "appraisal": "Appraisal Institute, The Appraisal of Real Estate, chapters on the sales comparison approach: prices "
    "of like objects adjusted to the one at hand, then reconciled; method from memory",
    "rosen1974": "S. Rosen, Hedonic prices and implicit markets, Journal of Political Economy 82, 34-55 (1974); from "
    "memory",
    "birge1932": "R. T. Birge, The calculation of errors by the method of least squares, Physical Review 40, 207-227 "
    "(1932); from memory",
    "restringing": "a tuner's public page: at least four tunings in the year after restringing",
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
