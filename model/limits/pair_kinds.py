"""What the two builds of a difference share, which says how sure the difference is."""

from __future__ import annotations

#: A shop's dyno, nothing, or the engine, which was measured before parts were changed; or each was
#: measured. Or all but the parts that were changed, of an engine that was not measured.
ONE_SHOP, TWO_SHOPS, ONE_ENGINE, TWO_MEASURED, CHANGED = (
    "one shop", "two shops", "one engine", "two measured", "changed parts",
)  # fmt: skip
