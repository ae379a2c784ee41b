"""Which samples sit at the recorder's ceiling. Clipping that a codec has rounded off afterwards isn't seen. Source: practice."""

from __future__ import annotations

import numpy as np

from pianolab.acoustics.limits import limits
from pianolab.acoustics.spectra import Samples


def clipped_share(channels: Samples, *, begin: int, stop: int) -> float:
    """Share of samples that sit in flat runs at the recording's own ceiling; 0 where hardly any run is flat.

    Examples
    --------
    >>> wave = np.clip(3.0 * np.sin(np.arange(4000) * 0.05), -1, 1).astype(np.float32)[None, :]
    >>> clipped_share(wave, begin=0, stop=4000) > 0.3
    True
    >>> clipped_share(0.3 * wave / 3.0, begin=0, stop=10)
    0.0
    """
    part = np.abs(channels[:, begin:stop])
    if part.size == 0:
        return 0.0
    ceiling = float(np.max(part))
    if ceiling < 0.25:
        return 0.0
    top = part >= 0.9995 * ceiling
    if int(top.sum()) < 3 * limits()["recorder"]["clipped_runs"]:
        return 0.0
    runs = top[:, 2:] & top[:, 1:-1] & top[:, :-2]
    begun = int((runs[:, 1:] & ~runs[:, :-1]).sum() + runs[:, 0].sum()) if runs.size else 0
    return float(runs.mean()) if begun >= limits()["recorder"]["clipped_runs"] else 0.0
