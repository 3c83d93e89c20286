"""The hay as feeding sees it: four shares of dry matter with their margins, and what may be fed on at all."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from tracker.errors import Refused

# % of dry matter (DM: of the mass as received). Beyond them a value is a slip or the hay is no hay; our choice.
SPANS = {
    "dm": (Decimal(60), Decimal(97)),
    "cp": (Decimal(2), Decimal(28)),
    "ndf": (Decimal(25), Decimal(85)),
    "tdn": (Decimal(35), Decimal(75)),
}


@dataclass(frozen=True)
class Hay:
    """A lot's hay. dm: % as received; the others % of dry matter; margins: half-widths at 95 %, None if not known.

    fat, sulfur: None if not analysed; tdn_by, cp_by: the codes of the values used; report: where they stand.
    """

    dm: Decimal
    cp: Decimal
    tdn: Decimal
    ndf: Decimal
    cp_margin: Decimal | None = None
    tdn_margin: Decimal | None = None
    ndf_margin: Decimal | None = None
    fat: Decimal | None = None
    sulfur: Decimal | None = None
    tdn_by: str = ""
    cp_by: str = ""
    report: str = ""

    def moved(self, *, cp: Decimal = Decimal(0), tdn: Decimal = Decimal(0), ndf: Decimal = Decimal(0)) -> Hay:
        """The same hay with its values moved by so many points."""
        return replace(self, cp=self.cp + cp, tdn=self.tdn + tdn, ndf=self.ndf + ndf)

    @property
    def tdn_over_cp(self) -> Decimal:
        return self.tdn / self.cp


def checked_hay(hay: Hay) -> Hay:
    """The hay itself if it can be fed on. Raises Refused `hay-implausible`."""
    for name, (least, most) in SPANS.items():
        value = getattr(hay, name)
        if not least <= value <= most:
            raise Refused(
                "hay-implausible",
                f"{name.upper()} {value} % lies outside {least} to {most} %: no advice is given on it.",
                field=name.upper(),
                remedy="Look at the analysis; have the hay tested again if it is right.",
            )
    if hay.ndf + hay.cp > 100:
        raise Refused(
            "hay-implausible",
            f"NDF {hay.ndf} and CP {hay.cp} make more than 100 % of the dry matter.",
            field="NDF",
            remedy="Look at the analysis.",
        )
    return hay
