"""What a machine can knit, as values. Apart from the rest of a profile, because every check needs these and no more."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Limit:
    """Counts from which something is warned of and from which it is an error; None where it never is."""

    warn_from: int | None = None
    error_from: int | None = None

    def severity(self, count: int) -> Literal["error", "warning"] | None:
        """What is said of such a count, if anything."""
        if self.error_from is not None and count >= self.error_from:
            return "error"
        return "warning" if self.warn_from is not None and count >= self.warn_from else None


@dataclass(frozen=True)
class Limits:
    """What the machine can knit. Counts are of loops or needles; every one is a setting of the profile.

    tucks_in_succession: tucks on one needle between two knits (textbook: up to four, Spencer p. 96).
    tucks_side_by_side: adjacent needles that tuck in one row.
    slips_in_succession: slips on one needle between two knits.
    float_needles: adjacent needles that slip in one row. float_mm: warned of over this length (needles x pitch).
    mixed_rows: severity of a row that has both tuck and slip.
    """

    tucks_in_succession: Limit = Limit(warn_from=4, error_from=5)
    tucks_side_by_side: Limit = Limit(warn_from=2, error_from=3)
    slips_in_succession: Limit = Limit(warn_from=5)
    float_needles: Limit = Limit(warn_from=6)
    float_mm: float | None = 25.0
    mixed_rows: Literal["error", "warning"] = "error"
