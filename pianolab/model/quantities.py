"""What a field of a record may be: its range, in which words it is asked for, and the usual cause of a wrong one.

Ranges are wide: they refuse what can only be a slip (centimetres for metres, a minus sign) or what nothing
behind them could work with. Each is common practice unless a source stands beside it.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated

from msgspec import Meta

GRADE_WORST, GRADE_BEST = 1, 5
TASTE_LOW, TASTE_HIGH = 1, 5
FIRST_KEY, LAST_KEY = -8, 99
"""The widest compass built: 108 keys, numbered so that A4 stays 49."""

MOST_MONEY = Decimal(1_000_000_000)
SMALLEST_COIN = Decimal("0.01")
"""A budget below it is a slip, and sums are measured by it."""
MOST_COUNTED = 1_000_000
MOST_READ = 1e9
FIRST_YEAR, LAST_YEAR = 1900, 2200
"""Years of visits and entries."""

LONGEST_NAME = 120
LONGEST_LINE = 1_000
LONGEST_ID = 200

CONTROLS = r"\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff"
"""What no text holds: control characters but line end and tab, and halves of characters, which no file can keep."""

IN_ONE_LINE = rf"\A(?!\s)[^{CONTROLS}\n\t]*(?<!\s)\Z"


def _sum_holds(amount: Decimal) -> bool:
    return amount.is_finite() and 0 <= amount <= MOST_MONEY


def _year_holds(day: date) -> bool:
    return FIRST_YEAR <= day.year <= LAST_YEAR


def _is_table(text: str) -> bool:
    try:
        return isinstance(json.loads(text), dict)
    except (ValueError, RecursionError):
        return False


Text = Annotated[
    str,
    Meta(
        pattern=rf"\A[^{CONTROLS}]*\Z",
        description="text without control characters or broken ones",
        extra={"hint": "Copied from a terminal or a damaged file?"},
    ),
]
Line = Annotated[
    str,
    Meta(
        pattern=IN_ONE_LINE,
        max_length=LONGEST_LINE,
        description=f"one line of plain text, up to {LONGEST_LINE:,} characters",
        extra={"mends": str.strip},
    ),
]
Name = Annotated[
    str,
    Meta(
        pattern=IN_ONE_LINE,
        min_length=1,
        max_length=LONGEST_NAME,
        description=f"a name in one line, 1 to {LONGEST_NAME} characters",
        extra={"mends": str.strip},
    ),
]
Asked = Annotated[
    str, Meta(pattern=rf"\A(?=[\s\S]*\S)[^{CONTROLS}]*\Z", description="what was asked, in plain text")
]
Id = Annotated[
    str,
    Meta(
        pattern=rf"\A(?=.*\S)[^{CONTROLS}\n\t]+\Z",
        max_length=LONGEST_ID,
        description=f"an id of 1 to {LONGEST_ID} characters of plain text",
    ),
]
MediaName = Annotated[
    str,
    Meta(
        pattern=r"\A[0-9A-Za-z]+(\.[0-9A-Za-z]+)?\Z",
        max_length=LONGEST_ID,
        description="the name of a file in the media folder",
        extra={"hint": "Add a sound or a photo with edit.add_sound or edit.add_photo."},
    ),
]
JsonTable = Annotated[
    str,
    Meta(
        pattern=r"\A[^\ud800-\udfff]*\Z",
        description="the JSON text that Survey.to_json makes",
        extra={"holds": _is_table},
    ),
]
Currency = Annotated[
    str,
    Meta(
        pattern=r"\A[A-Z]{3}\Z",
        description="a three-letter code such as EUR",
        extra={"mends": lambda text: text.strip().upper()},
    ),
]
Money = Annotated[
    Decimal,
    Meta(
        description=f"an amount of money, 0 to {MOST_MONEY:,}",
        extra={"holds": _sum_holds, "hint": "A minus sign or a word by mistake?"},
    ),
]
Budget = Annotated[
    Decimal,
    Meta(
        description=f"0.01 to {MOST_MONEY:,}, or None where there is no limit",
        extra={"holds": lambda amount: _sum_holds(amount) and amount >= SMALLEST_COIN},
    ),
]
PricePaid = Annotated[
    Decimal,
    Meta(
        description=f"a price, more than 0, at most {MOST_MONEY:,}",
        extra={
            "holds": lambda amount: _sum_holds(amount) and amount > 0,
            "hint": "What was given away says nothing about a price.",
        },
    ),
]
Day = Annotated[
    date,
    Meta(
        description=f"a day such as 2026-03-14, in the years {FIRST_YEAR} to {LAST_YEAR}",
        extra={"holds": _year_holds, "hint": "Year, month, day."},
    ),
]
Moment = Annotated[
    datetime,
    Meta(
        description=f"a moment such as 2026-03-14T15:30:00+01:00, in the years {FIRST_YEAR} to {LAST_YEAR}",
        extra={"holds": _year_holds},
    ),
]
AgeYears = Annotated[
    float, Meta(ge=0.0, le=400.0, description="0 to 400 years", extra={"hint": "The year built by mistake?"})
]
WarrantyYears = Annotated[float, Meta(ge=0.0, le=50.0, description="0 to 50 years; 0 is none")]
TuningsIncluded = Annotated[int, Meta(ge=0, le=50, description="0 to 50 tunings; 0 is none")]
LongSideCm = Annotated[
    float,
    Meta(
        ge=80.0,
        le=320.0,
        description="80 to 320 cm: an upright's height, a grand's length",
        extra={"hint": "Inches or metres instead of centimetres?"},
    ),
]
Kilograms = Annotated[
    float, Meta(ge=80.0, le=800.0, description="80 to 800 kg", extra={"hint": "Pounds by mistake?"})
]
YearBuilt = Annotated[int, Meta(ge=1700, le=2100, description="a year from 1700 to 2100")]
Key = Annotated[
    int, Meta(ge=FIRST_KEY, le=LAST_KEY, description=f"a key from {FIRST_KEY} to {LAST_KEY}; A4 is key 49")
]
Grade = Annotated[int, Meta(ge=GRADE_WORST, le=GRADE_BEST, description="1 (failed) to 5 (sound)")]
Taste = Annotated[
    int, Meta(ge=TASTE_LOW, le=TASTE_HIGH, description=f"a place from {TASTE_LOW} to {TASTE_HIGH}")
]
Count = Annotated[int, Meta(ge=0, le=MOST_COUNTED, description=f"a whole number, 0 to {MOST_COUNTED:,}")]
Reading = Annotated[float, Meta(ge=-MOST_READ, le=MOST_READ, description="a finite number")]
Level = Annotated[
    float, Meta(ge=-MOST_READ, le=MOST_READ, description="a finite number, or None where unknown")
]
Share = Annotated[float, Meta(ge=0.0, le=1.0, description="a share from 0 to 1")]
Years = Annotated[float, Meta(ge=1.0, le=100.0, description="1 to 100 years")]
Metres = Annotated[
    float,
    Meta(ge=0.5, le=200.0, description="0.5 to 200 m", extra={"hint": "Centimetres instead of metres?"}),
]
Celsius = Annotated[float, Meta(ge=-60.0, le=70.0, description="-60 to 70 °C", extra={"hint": "Fahrenheit?"})]
Percent = Annotated[float, Meta(ge=0.0, le=100.0, description="0 to 100 %")]
PitchA4 = Annotated[
    float,
    Meta(
        ge=380.0,
        le=500.0,
        description="380 to 500 Hz",
        extra={"hint": "A4 is 440 Hz unless you know better."},
    ),
]
SampleRate = Annotated[int, Meta(ge=1, le=10_000_000, description="samples per second, more than 0")]
Channels = Annotated[int, Meta(ge=1, le=1_024, description="1 channel or more")]
Seconds = Annotated[float, Meta(ge=0.0, le=1e7, description="a finite number of seconds, 0 or more")]
