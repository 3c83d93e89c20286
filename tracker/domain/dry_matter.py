"""Dry matter in two ovens: what the weighings give, how sure they are of it, and what looks wrong.

Partial dry matter is what is left after the first oven (55 to 60 C), in % of the fresh mass. It still holds 3 to
15 % water, so it is never shown as the total: total = partial x lab / 100 (NFTA method 2.2; Clemson
Agricultural Service Laboratory, Determination of 100 % dry matter). Uncertainties come from the weighing
alone, by the law of propagation in JCGM 100:2008, 5.1.2; sampling, oven time and moisture regained are larger.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.findings import CAUTION, HOLD, Finding
from tracker.domain.intake import BatchTare, Tare, Weighing, net_of
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import last_place, to_places
from tracker.errors import Refused

# Coverage factor for about 95 % (JCGM 100:2008, 6.3.3).
K95 = 2


@dataclass(frozen=True)
class _Stated:
    """A percentage by mass with its standard uncertainty, both in percentage points and unrounded."""

    value: Decimal
    u: Decimal

    @property
    def expanded(self) -> Decimal:
        """Half the interval that covers about 95 %."""
        return K95 * self.u

    @property
    def decimals(self) -> int:
        """Decimals worth showing: down to the first digit of the expanded uncertainty, two at most."""
        if self.expanded == 0:
            return 2
        return min(2, max(0, -self.expanded.adjusted()))

    @property
    def shown(self) -> Decimal:
        """The value with the decimals worth showing; for people, never for further sums."""
        return to_places(self.value, self.decimals)


@dataclass(frozen=True)
class PartialDM(_Stated):
    """% of fresh mass left after the first oven; nets in grams.

    components: what each of fresh, dry and tare adds to u, in percentage points; u is their root sum of squares.
    """

    fresh_net: Decimal
    dry_net: Decimal
    components: dict[str, Decimal]


@dataclass(frozen=True)
class TotalDM(_Stated):
    """% of the mass as received that is dry matter; covers says what u takes in."""

    covers: str


def reading_u(resolution: Decimal, practice: Practice = COMMON) -> Decimal:
    """Standard uncertainty of one reading in grams.

    A rectangular distribution one resolution wide, d / sqrt(12) (JCGM 100:2008, F.2.2.1), and the balance's own
    repeatability.
    """
    repeatability = practice.number("balance_repeatability")
    return (resolution**2 / 12 + repeatability**2).sqrt()


def partial_dm(tare: Tare, fresh: Weighing, dry: Weighing, practice: Practice = COMMON) -> PartialDM:
    """Partial dry matter from the sack's tare and the two weighings, 100 x dry net / fresh net.

    tare None only where both weighings were made on a balance zeroed with the sack on it. Raises Refused
    `tare-missing`, `double-tare`, `gross-not-above-tare`, `dry-above-fresh`.
    """
    if tare is not None and fresh.zeroed and dry.zeroed:
        raise Refused(
            "double-tare",
            "Both weighings were made with the sack zeroed away, and a tare is given as well.",
            field="tare",
            remedy="Leave the tare out, or record the readings as sack and hay together.",
        )
    f, q = net_of(fresh, tare), net_of(dry, tare)
    if q > f:
        raise Refused("dry-above-fresh", _dry_above_fresh(f, q), field="dry", remedy="Weigh the sack again.")
    # The tare is one reading that stands in both nets, so its errors nearly cancel: that is the correlation
    # of the nets, and the exact derivative to the tare carries it.
    by_tare = (q * (not fresh.zeroed) - f * (not dry.zeroed)) / f**2
    components = {
        "fresh": 100 * q / f**2 * _weighing_u(fresh, practice),
        "dry": 100 / f * _weighing_u(dry, practice),
        "tare": abs(100 * by_tare) * _tare_u(tare, practice),
    }
    u = sum((part**2 for part in components.values()), Decimal(0)).sqrt()
    return PartialDM(value=100 * q / f, u=u, fresh_net=f, dry_net=q, components=components)


def _weighing_u(weighing: Weighing, practice: Practice) -> Decimal:
    u = reading_u(weighing.resolution, practice)
    # Zeroing on the sack is a reading too, made anew each time.
    return u * Decimal(2).sqrt() if weighing.zeroed else u


def _tare_u(tare: Tare, practice: Practice) -> Decimal:
    if tare is None:
        return Decimal(0)
    u = reading_u(tare.resolution, practice)
    if isinstance(tare, BatchTare):
        # This one sack may be any of the batch, and the mean itself is known from n of them.
        return (u**2 + tare.sd**2 * (1 + Decimal(1) / tare.n)).sqrt()
    return u


def _dry_above_fresh(fresh: Decimal, dry: Decimal) -> str:
    return f"The dry hay weighs {dry} g and the fresh hay weighed {fresh} g: one of them is another sack's."


def dm_findings(
    tare: Tare, fresh: Weighing, dry: Weighing, practice: Practice = COMMON
) -> tuple[Finding, ...]:
    """What is to be said of the two weighings: `dry-above-fresh` (hold) or `dm-implausible` (caution).

    Raises what partial_dm raises but for `dry-above-fresh`: both weights are kept, and the sample held.
    """
    try:
        partial = partial_dm(tare, fresh, dry, practice)
    except Refused as refused:
        if refused.code != "dry-above-fresh":
            raise
        return (Finding("dry-above-fresh", HOLD, refused.message, ("DM",)),)
    return _outside(partial.value, "dm", "Partial dry matter", practice, "implausible for hay")


def lab_dm_findings(lab: Decimal, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """A caution where ground hay is stated wetter or drier than hay is after the first oven."""
    return _outside(lab, "lab_dm", "Lab dry matter", practice, "unlikely for ground hay")


def total_dm_findings(total: TotalDM, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """A caution where the total is implausible for hay."""
    return _outside(total.value, "dm", "Total dry matter", practice, "implausible for hay")


def _outside(value: Decimal, rule: str, what: str, practice: Practice, verdict: str) -> tuple[Finding, ...]:
    least, most = practice.number(f"{rule}_least"), practice.number(f"{rule}_most")
    if least <= value <= most:
        return ()
    words = f"{what} {to_places(value, 1)} % is {verdict}: {least} to {most} % is expected."
    return (Finding(f"{rule.replace('_', '-')}-implausible", CAUTION, words, ("DM",)),)


def total_dm(
    partial: PartialDM | None,
    lab: Decimal | None,
    *,
    lab_u: Decimal | None = None,
    one_step: bool = False,
) -> TotalDM | None:
    """Total dry matter in %, or None while either half is wanting: partial DM is never the total.

    lab: % by the second oven or by scan; lab_u: its standard uncertainty, else only its last digit counts.
    one_step: the hay never went through the first oven, and lab is the total as stated.
    """
    if lab is None or (partial is None and not one_step):
        return None
    u_lab = last_place(lab) / Decimal(12).sqrt() if lab_u is None else lab_u
    known = "last digit of the lab's figure" if lab_u is None else "lab's own uncertainty"
    if partial is None:
        return TotalDM(lab, u_lab, f"the {known}")
    u = ((lab / 100 * partial.u) ** 2 + (partial.value / 100 * u_lab) ** 2).sqrt()
    return TotalDM(partial.value * lab / 100, u, f"weighing and the {known}")


def one_step_findings(lab: Decimal, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """A caution where hay skipped the first oven and was too moist for that (NFTA method 2.2)."""
    least = practice.number("one_step_dm")
    if lab >= least:
        return ()
    words = f"At {lab} % dry matter the hay should have gone through the first oven; {least} % may skip it."
    return (Finding("one-step-too-moist", CAUTION, words, ("DM",)),)


@dataclass(frozen=True)
class ConstantMass:
    """Whether two dry weighings agree; difference: second less first, in % of the sample."""

    agree: bool
    difference: Decimal
    words: str


def constant_mass(
    first: Decimal, second: Decimal, sample_mass: Decimal, practice: Practice = COMMON
) -> ConstantMass:
    """Whether the sack has stopped losing water between two dry weighings; all three in grams.

    sample_mass: the fresh hay without its sack. Raises Refused `not-positive`.
    """
    if sample_mass <= 0:
        raise Refused(
            "not-positive",
            f"{sample_mass} g of hay is nothing to compare with.",
            field="sample_mass",
            remedy="Weigh the tare and the fresh hay first.",
        )
    difference, limit = 100 * (second - first) / sample_mass, practice.number("constant_mass")
    agree = abs(difference) <= limit
    said = f"{to_places(abs(difference), 2)} % of the sample"
    if agree:
        words = f"The two dry weighings agree: {said} apart, {limit} % allowed."
    elif difference < 0:
        words = f"It lost {said} more: dry it further and weigh again."
    else:
        words = f"It gained {said}: it took up moisture, or another sack was weighed."
    return ConstantMass(agree, difference, words)


def load_findings(hours: Decimal, set_celsius: Decimal, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """What is to be said of an oven load: hours in the oven, and what it was set to.

    Raises Refused `oven-times-reversed` unless it came out after it went in.
    """
    if hours <= 0:
        raise Refused(
            "oven-times-reversed",
            f"The load came out {to_places(hours, 1)} h after it went in.",
            field="out",
            remedy="Check both times.",
        )
    found = []
    least, most = practice.number("oven_hours_least"), practice.number("oven_celsius_most")
    if hours < least:
        words = f"Only {to_places(hours, 1)} h in the oven; under {least} h it may not be dry."
        found.append(Finding("oven-short", CAUTION, words, ("DM",)))
    if set_celsius > most:
        words = f"The oven was set to {set_celsius} C; above {most} C the fibre and bound protein read high."
        found.append(Finding("oven-hot", CAUTION, words, ("NDF", "ADICP")))
    return tuple(found)
