"""What the desk finds when a bag arrives, and what the first weighings say.

Whatever differs from what was sent is recorded and puts the sample on hold until somebody decides (ISO/IEC
17025:2017, 7.4.3; FDA ORA Laboratory Manual III, section 2: differences in package, seal or number are
documented and reconciled). A level of "hold" in a finding is such a difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.findings import CAUTION, HOLD, NOTE, Finding
from tracker.domain.heat import heat_step
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import last_place, to_places
from tracker.errors import Refused

# What each condition means for the sample; which of them are a difference is our choice.
CONDITIONS: dict[str, tuple[str, str]] = {
    "dry": (NOTE, ""),
    "damp": (CAUTION, "The bag came damp: weigh it today, and say so beside the dry matter."),
    "wet": (HOLD, "The bag came wet: its water may not be the hay's own."),
    "torn": (HOLD, "The bag came torn: leaf may have been lost and moisture gained or lost."),
    "leaking": (HOLD, "The bag leaks: leaf may have been lost."),
    "mould": (HOLD, "There is mould: wear a mask, and ask whether the stack is mouldy or only the bag."),
    "hot": (HOLD, "The bag came hot: it lay in heat, or the stack is heating."),
    "label damaged": (HOLD, "The label is damaged: make sure which sample it is before it goes on."),
    "foreign matter": (HOLD, "There is soil, twine or other matter in the bag that is not hay."),
    "not cored": (HOLD, "The hay was pulled by hand, not cored: it may not speak for the lot."),
}
DIFFERENCES = tuple(condition for condition, (level, _) in CONDITIONS.items() if level == HOLD)
SEAL_STATES = ("intact", "broken", "missing", "number differs", "none")


@dataclass(frozen=True)
class Receipt:
    """What the receiver saw.

    temperature_c in degrees Celsius, of the bag or the stack, if taken; age_days since coring.
    """

    conditions: tuple[str, ...]
    seal_state: str = "none"
    seal_expected: str | None = None
    seal_read: str | None = None
    temperature_c: Decimal | None = None
    packages_expected: int | None = None
    packages_found: int | None = None
    discrepancy: str = ""
    age_days: int | None = None


def judge_receipt(receipt: Receipt, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """What is to be said of this receipt; any finding of level "hold" is a difference.

    Raises Refused `unknown-condition`, `condition-contradicts`, `unknown-seal-state`, `seal-contradicts` or
    `not-a-temperature`.
    """
    found = [*_conditions(receipt.conditions), *_seal(receipt), *_heat(receipt.temperature_c)]
    expected, counted = receipt.packages_expected, receipt.packages_found
    if expected is not None and counted is not None and expected != counted:
        found.append(
            Finding("packages-differ", HOLD, f"{expected} packages were sent and {counted} were found.")
        )
    if receipt.discrepancy.strip():
        found.append(Finding("discrepancy", HOLD, receipt.discrepancy.strip()))
    limit = practice.number("sample_days")
    if receipt.age_days is not None and receipt.age_days > limit:
        words = f"The sample is {receipt.age_days} days old; it should be here within {limit} days."
        found.append(Finding("sample-old", CAUTION, words))
    return tuple(found)


def _conditions(conditions: Sequence[str]) -> list[Finding]:
    for condition in conditions:
        if condition not in CONDITIONS:
            raise Refused(
                "unknown-condition",
                f"{condition!r} is not a condition that is recorded.",
                field="condition",
                remedy=f"Choose from {', '.join(CONDITIONS)}; say anything else as a discrepancy.",
            )
    if "dry" in conditions and {"damp", "wet"} & set(conditions):
        raise Refused(
            "condition-contradicts",
            f"{', '.join(conditions)}: a bag is not both dry and damp or wet.",
            field="condition",
            remedy="Feel the hay again and keep one of them.",
        )
    if not conditions:
        return [Finding("condition-not-noted", CAUTION, "Nobody noted what the bag looked like.")]
    judged = ((condition, *CONDITIONS[condition]) for condition in dict.fromkeys(conditions))
    return [Finding(f"bag-{name.replace(' ', '-')}", level, words) for name, level, words in judged if words]


def _seal(receipt: Receipt) -> list[Finding]:
    state, sealed, read = receipt.seal_state, _plain(receipt.seal_expected), _plain(receipt.seal_read)
    if state not in SEAL_STATES:
        raise Refused(
            "unknown-seal-state",
            f"{state!r} is not a state of a seal.",
            field="seal_state",
            remedy=f"Choose from {', '.join(SEAL_STATES)}.",
        )
    _check_seal_words(state, sealed, read)
    if state == "missing" or (state == "none" and sealed):
        return [Finding("seal-missing", HOLD, f"Seal {sealed or 'of unknown number'} is missing.")]
    if state == "none":
        return []
    found = []
    if state == "broken":
        found.append(Finding("seal-broken", HOLD, f"Seal {read or sealed or 'of unknown number'} is broken."))
    if sealed and read and sealed != read:
        found.append(Finding("seal-number-differs", HOLD, seal_difference(sealed, read)))
    elif state == "number differs":
        words = f"Another number than {sealed or 'the one recorded'} is on the seal; it was not noted."
        found.append(Finding("seal-number-differs", HOLD, words))
    elif state == "intact" and not sealed:
        words = f"The bag carries seal {read or 'of unknown number'}, and no seal was recorded for it."
        found.append(Finding("seal-not-recorded", HOLD, words))
    elif state == "intact" and not read:
        found.append(Finding("seal-not-read", CAUTION, f"Seal {sealed} is whole; its number was not read."))
    return found


def _check_seal_words(state: str, sealed: str, read: str) -> None:
    if state == "number differs" and sealed and sealed == read:
        said = f"{read} is the number that was sealed, so it does not differ."
    elif state in ("missing", "none") and read:
        said = f"Seal {read} was read, so it is there."
    else:
        return
    raise Refused(
        "seal-contradicts",
        said,
        field="seal_state",
        remedy="Look at the seal again: intact, broken, or another number?",
    )


def _plain(seal: str | None) -> str:
    return "".join((seal or "").split()).upper()


def transposed(sealed: str, read: str) -> tuple[str, str] | None:
    """The two characters that have changed places, if that is the whole difference."""
    if len(sealed) != len(read):
        return None
    odd = [(a, b) for a, b in zip(sealed, read, strict=True) if a != b]
    return odd[0] if len(odd) == 2 and odd[0] == odd[1][::-1] else None


def seal_difference(sealed: str, read: str) -> str:
    """In words, how the number read differs from the one sealed."""
    words = f"Seal {read} was read where {sealed} was sealed"
    swap = transposed(sealed, read)
    if swap is None:
        return f"{words}."
    return f"{words}: {swap[0]} and {swap[1]} have changed places, on the bag or in the writing."


def _heat(celsius: Decimal | None) -> list[Finding]:
    if celsius is None:
        return []
    if not -60 <= celsius <= 400:
        raise Refused(
            "not-a-temperature",
            f"{celsius} C is not a temperature of hay.",
            field="temperature",
            remedy="Read it again, in degrees Celsius.",
        )
    step = heat_step(celsius)
    return [Finding("hot-hay", CAUTION, f"{celsius} C: {step.advice}.", ("CP",))] if step else []


WEIGHING_KINDS = ("tare", "fresh", "dry", "dry again", "composite")
# The event that writes each weighing down; what the composite weighed is said by the event of the coring.
WEIGHING_EVENTS = {
    "tare": "tare weighed",
    "fresh": "fresh weighed",
    "dry": "dry weighed",
    "dry again": "dry weighed again",
}


@dataclass(frozen=True)
class Weighing:
    """One reading of a balance in grams, digits as shown.

    zeroed: the balance was set to zero with the empty sack on it, so that the reading is hay alone; otherwise
    it is sack and hay together. step: what the balance counts in, where that is more than one in the last
    digit (0.5 g, say). Raises Refused `unknown-weighing`.
    """

    kind: str
    grams: Decimal
    zeroed: bool = False
    step: Decimal | None = None

    def __post_init__(self) -> None:
        if self.kind not in WEIGHING_KINDS:
            raise Refused(
                "unknown-weighing",
                f"{self.kind!r} is not a weighing that is recorded.",
                field="kind",
                remedy=f"Choose from {', '.join(WEIGHING_KINDS)}.",
            )

    @property
    def resolution(self) -> Decimal:
        """The step of the balance in grams."""
        return self.step or last_place(self.grams)


@dataclass(frozen=True)
class BatchTare:
    """The mean tare of one batch of sacks, for sacks not weighed one by one: grams, SD in grams, how many."""

    mean: Decimal
    sd: Decimal
    n: int
    resolution: Decimal

    @property
    def sd_percent(self) -> Decimal:
        return 100 * self.sd / self.mean


def batch_tare(sacks: Sequence[Decimal], practice: Practice = COMMON) -> BatchTare:
    """Mean and sample SD (n - 1) of empty sacks in grams. Raises Refused `too-few-tares`."""
    n, least = len(sacks), max(2, int(practice.number("tares_least")))
    if n < least:
        raise Refused(
            "too-few-tares",
            f"{n} empty sacks were weighed; a batch tare needs {least}.",
            field="tares",
            remedy="Weigh more empty sacks of the same batch, or weigh each sack by itself.",
        )
    mean = sum(sacks, Decimal(0)) / n
    sd = (sum(((sack - mean) ** 2 for sack in sacks), Decimal(0)) / (n - 1)).sqrt()
    return BatchTare(mean, sd, n, max(last_place(sack) for sack in sacks))


def tare_findings(batch: BatchTare, practice: Practice = COMMON) -> tuple[Finding, ...]:
    """A caution where sacks of one batch differ too much for one tare to serve them all."""
    limit = practice.number("tare_sd_most")
    if batch.sd_percent <= limit:
        return ()
    words = (
        f"The sacks differ by {to_places(batch.sd_percent, 1)} % (SD of {batch.n}); above {limit} % each sack "
        "should be weighed by itself."
    )
    return (Finding("tares-spread", CAUTION, words, ("DM",)),)


Tare = Weighing | BatchTare | None


def tare_grams(tare: Weighing | BatchTare) -> Decimal:
    """The tare in grams, of the sack itself or the batch mean."""
    return tare.mean if isinstance(tare, BatchTare) else tare.grams


def net(gross: Decimal, tare: Decimal) -> Decimal:
    """Hay alone, in grams. Raises Refused `gross-not-above-tare`."""
    if gross <= tare:
        raise Refused(
            "gross-not-above-tare",
            f"{gross} g for sack and hay is not above the sack's {tare} g.",
            field="grams",
            remedy="Was the balance zeroed on the sack, or the sack empty? Weigh again.",
        )
    return gross - tare


def net_of(weighing: Weighing, tare: Tare) -> Decimal:
    """Hay alone, in grams, from a reading of either kind.

    Raises Refused `tare-missing` for a gross reading without a tare, `gross-not-above-tare`.
    """
    if weighing.zeroed:
        return weighing.grams
    if tare is None:
        raise Refused(
            "tare-missing",
            f"{weighing.grams} g is sack and hay together, and the sack's tare is not recorded.",
            field="tare",
            remedy="Weigh the empty sack, or one of the same batch; do not take a tare from memory.",
        )
    return net(weighing.grams, tare_grams(tare))


def weighing_findings(
    weighing: Weighing,
    *,
    previous: Sequence[Weighing] = (),
    tare: Tare = None,
    planned: Decimal | None = None,
    practice: Practice = COMMON,
) -> tuple[Finding, ...]:
    """What is to be said of one reading before the next sack goes on.

    previous: what the same balance showed just before, latest last, of other sacks; tare: of this sack;
    planned: grams of composite sample that the plan expected. Raises Refused `gross-not-above-tare`.
    """
    found = []
    # Equal text, not equal value: 250.0 after 250.00 is another balance, and no frozen display.
    if previous and previous[-1].kind == weighing.kind and str(previous[-1].grams) == str(weighing.grams):
        words = f"{weighing.grams} g is to the last digit what the sack before weighed. Did the pan change?"
        found.append(Finding("same-as-before", CAUTION, words))
    if weighing.kind == "tare" or (tare is None and not weighing.zeroed and weighing.kind != "composite"):
        return tuple(found)
    hay = weighing.grams if weighing.kind == "composite" and tare is None else net_of(weighing, tare)
    if hay < practice.number("net_least"):
        found.append(Finding("hardly-any-hay", HOLD, f"{hay} g of hay: is the sack empty?", ("DM",)))
    if weighing.kind in ("fresh", "composite"):
        found += _composite(hay, planned, practice)
    return tuple(found)


def _composite(hay: Decimal, planned: Decimal | None, practice: Practice) -> list[Finding]:
    found = []
    least, most = practice.number("composite_least"), practice.number("composite_most")
    if hay < least:
        words = f"{hay} g is a short composite sample; {least} g is the least wanted."
        found.append(Finding("composite-short", CAUTION, words))
    elif hay > most:
        words = f"{hay} g is more than {most} g. Grind all of it; do not divide it before."
        found.append(Finding("composite-large", CAUTION, words))
    if planned is not None and abs(hay - planned) > planned * practice.number("composite_far") / 100:
        words = (
            f"{hay} g is far from the {to_places(planned, 0)} g that the plan expected. Were all cores kept?"
        )
        found.append(Finding("composite-far", CAUTION, words))
    return found
