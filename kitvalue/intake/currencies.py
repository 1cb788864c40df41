"""Currency codes, signs and names, and what each of them can stand for."""

from __future__ import annotations

from typing import Final

from kitvalue.intake.words import fold, visible

# Active alphabetic codes of ISO 4217 (from memory of the published list; funds, metals and test codes left out).
_CODES: Final = """
    AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF
    CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG
    HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA
    MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD
    RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX
    USD UYU UZS VES VND VUV WST XAF XCD XCG XOF XPF YER ZAR ZMW ZWG HRK DEM ATS FRF ITL NLG IEP
"""
CODES: Final = frozenset(_CODES.split())

_DOLLARS: Final = ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "MXN", "TWD", "ARS", "CLP", "COP")
_CROWNS: Final = ("SEK", "NOK", "DKK", "ISK", "CZK")
_POUNDS: Final = ("GBP", "EGP", "LBP", "GIP", "FKP", "SHP")

SIGNS: Final[dict[str, tuple[str, ...]]] = {
    "€": ("EUR",), "£": _POUNDS, "₤": ("GBP", "ITL"), "$": _DOLLARS, "＄": _DOLLARS, "￡": ("GBP",),
    "¥": ("JPY", "CNY"), "￥": ("JPY", "CNY"), "円": ("JPY",), "元": ("CNY", "TWD"), "₩": ("KRW",), "₽": ("RUB",),
    "₹": ("INR",), "₺": ("TRY",), "₴": ("UAH",), "₪": ("ILS",), "฿": ("THB",), "₫": ("VND",), "₱": ("PHP",),
    "₦": ("NGN",), "₡": ("CRC",), "₲": ("PYG",), "₸": ("KZT",), "₼": ("AZN",), "₾": ("GEL",), "₿": ("BTC",),
    "₣": ("CHF", "FRF"), "₵": ("GHS",),
}  # fmt: skip

WORDS: Final[dict[str, tuple[str, ...]]] = {
    "euro": ("EUR",), "euros": ("EUR",), "us$": ("USD",), "usd$": ("USD",), "ca$": ("CAD",), "c$": ("CAD",),
    "can$": ("CAD",), "au$": ("AUD",), "a$": ("AUD",), "nz$": ("NZD",), "hk$": ("HKD",), "s$": ("SGD",),
    "r$": ("BRL",), "mx$": ("MXN",), "nt$": ("TWD",),
    "dollar": _DOLLARS, "dollars": _DOLLARS, "pound": _POUNDS, "pounds": _POUNDS, "pfund": _POUNDS, "quid": ("GBP",),
    "stg": ("GBP",), "sfr": ("CHF",), "sfr.": ("CHF",), "fr": ("CHF", "FRF"), "fr.": ("CHF", "FRF"),
    "franken": ("CHF",), "francs": ("CHF", "FRF", "XAF", "XOF"), "franc": ("CHF", "FRF", "XAF", "XOF"),
    "kr": _CROWNS, "kr.": _CROWNS, "kronen": _CROWNS, "kronor": ("SEK",), "kroner": ("NOK", "DKK"),
    "yen": ("JPY",), "yuan": ("CNY",), "rmb": ("CNY",), "zł": ("PLN",), "zl": ("PLN",), "zloty": ("PLN",),
    "złoty": ("PLN",), "zlotych": ("PLN",), "złotych": ("PLN",), "kč": ("CZK",), "kc": ("CZK",), "ft": ("HUF",),
    "forint": ("HUF",), "lei": ("RON", "MDL"), "leu": ("RON", "MDL"), "лв": ("BGN",), "руб": ("RUB",),
    "руб.": ("RUB",), "tl": ("TRY",), "rupees": ("INR", "PKR", "LKR"), "dm": ("DEM",), "rand": ("ZAR",),
}  # fmt: skip


def meanings(text: str) -> tuple[str, ...]:
    """The currency codes that a code, sign or name can stand for; () where it is none."""
    word = fold(visible(text))
    code = word.upper()
    if code in CODES:
        return (code,)
    return SIGNS.get(word) or WORDS.get(word) or ()
