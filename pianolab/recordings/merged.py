"""What merging takes gives: a survey with the takes it comes from and the spread between them."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING

from pianolab.acoustics.columns import column
from pianolab.acoustics.survey_result import Survey
from pianolab.recordings.merging import spread_measures
from pianolab.show import Row

if TYPE_CHECKING:
    import pandas as pd


def _nothing() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame()


@dataclass(frozen=True, kw_only=True)
class Take:
    """One of the merged recordings: its compass, what was measured in it, and how it was recorded."""

    number: int
    first_key: int
    last_key: int
    measured: int
    seconds: float
    rate_hz: int
    noise_db: float
    quality: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class MergedSurvey(Survey):
    """A survey from several takes; everything that takes a survey takes it.

    The table has two more columns: ``takes`` (how many takes measured the key) and ``take_notes`` (where they
    disagree). ``spread`` has a row per key: largest less smallest value of each measure over the takes, NaN with
    fewer than two. ``best_take`` has the number of the take from which a key's onset, curve and partials are.
    """

    takes: tuple[Take, ...] = ()
    spread: pd.DataFrame = field(default_factory=_nothing)
    best_take: tuple[int, ...] = ()
    brightness_slopes: dict[str, float] = field(default_factory=dict)

    def headline(self) -> str:
        return f"{len(self.takes)} take{'s' * (len(self.takes) != 1)} merged; {super().headline()}"

    def rows(self) -> list[Row]:
        return [*super().rows(), *self._take_rows(), *self._spread_rows()]

    def _take_rows(self) -> list[Row]:
        return [
            (
                "take",
                t.number,
                "",
                f"keys {t.first_key} to {t.last_key}, {t.measured} measured, {t.seconds:.0f} s",
            )
            for t in self.takes
        ]

    def _spread_rows(self) -> list[Row]:
        out: list[Row] = []
        for measure in spread_measures():
            # A survey that was kept before the measure was there has none of it.
            known = self.spread.get(f"{measure}_spread", self.spread["key"].iloc[:0]).dropna()
            if len(known):
                what, beside = f"spread of {measure} between takes", f"median of {len(known)} keys"
                out.append((what, float(known.median()), column(measure).unit, beside))
        return out

    def to_json(self) -> str:
        """Everything in one JSON text; `Survey.from_json` reads it as a survey, `MergedSurvey.from_json` whole."""
        spread = json.loads(self.spread.to_json(orient="columns", double_precision=15))
        more = {
            "takes": [asdict(t) for t in self.takes],
            "spread": {name: list(column.values()) for name, column in spread.items()},
            "best_take": list(self.best_take),
            "brightness_slopes": self.brightness_slopes,
        }
        return json.dumps({**json.loads(super().to_json()), **more}, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> MergedSurvey:
        """A merged survey from the text that `to_json` made."""
        import pandas as pd

        data, plain = json.loads(text), Survey.from_json(text)
        spread = pd.DataFrame(data["spread"])
        return cls(
            **{name: getattr(plain, name) for name in ("table", "summary", "curves", "strikes", "partials")},
            takes=tuple(Take(**{**t, "quality": tuple(t["quality"])}) for t in data["takes"]),
            spread=spread.astype({c: float for c in spread.columns if c != "key"}),
            best_take=tuple(data["best_take"]),
            brightness_slopes=data["brightness_slopes"],
        )
